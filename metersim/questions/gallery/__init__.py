"""The pictures of all shipped scenarios and questions."""
