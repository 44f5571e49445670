"""Question `gallery`: figures of all shipped scenarios and questions."""
