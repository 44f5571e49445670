"""Question `lot`: how is a lot file made of one's own seed?"""
