"""What the notebooks for a class need beside the library: records to look at, pictures, sliders, exercises.

Nothing of the program may rest on this room, and it knows nothing of fields and plans.
"""
