"""The reads of the inventory: one function a question, each with a fixed number of queries."""
