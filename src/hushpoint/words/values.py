"""Values of one or two words that pages show by name (`_(value)`) or scripts write: the catalogues hold them too."""

VALUES = (
    *("systolic", "diastolic", "left", "right", "either", "mmHg and kPa", "none yet", "not heard", "withheld"),
    *("Practise", "Class", "Clients", "Kit", "Evidence", "Recordings", "Agreement", "{reading} ({muffled} muffled)"),
    *("pumping", "releasing", "holding", "emptying", "ready", "writing", "steady", "slower", "faster"),
    *("truth", "you", "heard", "silent", "phase", "from", "to", "rate", "sounds", "gap", "none", "wrist", "muffling"),
    *("guided", "unguided", "open", "shut", "done", "missed", "up", "down", "going up", "going down"),
    *("judged", "setting up", "measuring", "handed in", "not begun", "feeling", "listening", "low", "high"),
    *("gauge", "cuff", "stethoscope", "lecturer", "assessor", "practitioner", "auditor", "learner"),
    *("before", "place", "feel", "listen", "after", "light", "moderate", "vigorous", "test"),
    *("proceed", "repeat", "refer", "emergency", "cardiac", "renal", "dizzy or faint", "calf pain", "heart murmur"),
    *("and", "or", "{off} low on {end}", "{off} high on {end}", "exact on {end}", "exact", "{percent} %"),
    *("the lecturer", "the reference", "in the middle", "too few", "Start the clock", "not told", "and {rest}"),
    *("regular", "irregular", "woman", "man", "stable", "yes", "no", "today", "at once", "now"),
)
