"""The built-in player's instruments, its song, its room and its preamp.

Everything is a pure function of a seed, the sample rate and the place in the song::

    score ──sections──> bass, guitar, voice, drums ──sounds──> mix ──> room ──> preamp ──> samples

Numbers are chosen by ear and by measurement; nothing is sampled from a recording.
"""
