"""Telling other programs what happened, by signed requests (Standard Webhooks 1.0).

A message is written with what it tells of (`sending.tell`) and sent afterwards until it is taken.
"""
