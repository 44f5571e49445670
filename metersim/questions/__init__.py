"""The questions that can be asked, one folder each, in the order of the help text."""

QUESTIONS = {
    "run": "run a scenario and say how the seeds will lie",
    "explore": "open a page to move settings and see what happens",
    "explain": "say what a scenario asks of its meter",
    "compare": "say what changes when a setting changes",
    "measured": "compare measured spacings with a scenario and with one another",
    "sweep": "find the best settings, and what is acceptable",
    "steps": "say what each single step of each setting does",
    "howmany": "say how many seeds to count, and what a count detects",
    "habits": "compare habits of operators on many meters",
    "learn": "learn your own meter from counts and spacings",
    "next": "say what is likely off, and give one next move",
    "sheet": "choose a disc and a start setting for a lot",
    "report": "write one file with the answer and all that it rests on",
    "lesson": "write a lesson for a class, or play a hidden fault",
    "evidence": "compare the model with published measurements",
    "animate": "write a moving picture of a meter in slow motion",
    "list": "list what is shipped",
    "lot": "make a lot file of your own seed",
    "gallery": "draw all shipped scenarios",
    "guide": "print a page of the guide",
}
"""Description of each command by its name, which is also the name of its folder."""
