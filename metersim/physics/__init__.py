"""The equations of the meter, one file a station.

Pure functions of numbers or arrays: no scenario, no random numbers, no clock, no files.
SI throughout.  Every function says where it comes from: a source key of
`metersim.sources`, or that it is an assumption of this project.
"""
