"""Files to samples and back: NAME.wav (or .flac), NAME.csv with the cuff pressure, NAME.json with the
truth."""

from hushpoint.recording.reading import Pressure, Sound, read_pressure, read_sound
from hushpoint.recording.writing import write_recording

__all__ = ["Pressure", "Sound", "read_pressure", "read_sound", "write_recording"]
