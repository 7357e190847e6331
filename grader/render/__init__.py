"""Pictures of pots whose faults are known: path-traced, for samples, tuning and measuring.

Everything up to the finished surface (shape, clay, painting, faults) is plain numpy and needs no
renderer; only :mod:`grader.render.scene` loads mitsuba, and only when a picture is asked for.
"""
