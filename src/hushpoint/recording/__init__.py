"""Files to samples and back: NAME.wav (.flac, .ogg) with NAME.csv, EDF+ or WFDB; NAME.json holds the truth."""

from hushpoint.recording.finding import Recording, find_recordings, read_recording
from hushpoint.recording.reading import Pressure, Sound, read_pressure, read_sound
from hushpoint.recording.writing import played_wav, wav_bytes, write_recording

__all__ = [
    "Pressure",
    "Recording",
    "Sound",
    "find_recordings",
    "played_wav",
    "read_pressure",
    "read_recording",
    "read_sound",
    "wav_bytes",
    "write_recording",
]
