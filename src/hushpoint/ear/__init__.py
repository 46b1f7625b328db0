"""Sound and cuff pressure to the start and stop of the sounds, each with a range, or why it will not say."""

from hushpoint.ear.listening import Beat, Listened, Segment, listen

__all__ = ["Beat", "Listened", "Segment", "listen"]
