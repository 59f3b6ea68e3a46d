"""The reads of the recipes: one function a question, each with a fixed number of queries."""
