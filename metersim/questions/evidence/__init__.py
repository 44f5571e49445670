"""How far does the model agree with published measurements?"""
