"""What can go wrong, as one small tree.

SpeckwiseError                 anything we can put in a sentence
├── ShotError                  one picture can't be used; the others go on
│   ├── UnreadableShot         not a picture, broken, or of a kind that is not read
│   └── ShotTooLarge           more pixels than the limit
├── ProfileError               a panel profile can't be used
├── GuideError                 a guide is unknown or badly written
├── RankerError                a ranker file can't be used
├── TableError                 a table is not one of ours
├── DiskFull                   no room for what is to be written
└── CallError                  the call itself is wrong: nothing is written
    ├── OutputInUse            another run is writing, or another run's results stand there
    └── OutputNotWritable      the place can't be written to

The message of each is a whole sentence for the person at the panel.
"""


class SpeckwiseError(Exception):
    """Anything we can put in a sentence."""


class ShotError(SpeckwiseError):
    """One picture can't be used; the others go on."""


class UnreadableShot(ShotError):
    """Not a picture, broken, or of a kind that is not read."""


class ShotTooLarge(ShotError):
    """More pixels than the limit."""


class ProfileError(SpeckwiseError):
    """A panel profile can't be used."""


class GuideError(SpeckwiseError):
    """A guide is unknown or badly written."""


class RankerError(SpeckwiseError):
    """A ranker file can't be used."""


class TableError(SpeckwiseError):
    """A table is not one of ours."""


class DiskFull(SpeckwiseError):
    """No room for what is to be written; what stands is whole."""


class CallError(SpeckwiseError):
    """The call itself is wrong: nothing is written."""


class OutputInUse(CallError):
    """Another run is writing there, or another run's results stand there."""


class OutputNotWritable(CallError):
    """The place can't be written to."""
