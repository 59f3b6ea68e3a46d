"""The reads of costing: one function a question, each with a fixed number of queries."""
