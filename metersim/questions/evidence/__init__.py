"""Question `evidence`: how far does the model agree with published measurements?"""
