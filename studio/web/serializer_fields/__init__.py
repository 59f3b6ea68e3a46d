"""Serializer fields of the API: quantities, money, shares and exact decimals in JSON.

JSON numbers with a point are floats and most of them are not exact, so they are refused
everywhere: exact numbers travel as text. Each refusal is a DRF ValidationError with the code of
its fault.
"""
