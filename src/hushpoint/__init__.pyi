from hushpoint.agreement import PairedReading as PairedReading
from hushpoint.agreement import agree as agree
from hushpoint.agreement import digits as digits
from hushpoint.agreement import in_full as in_full
from hushpoint.agreement import whose as whose
from hushpoint.arm import Person as Person
from hushpoint.arm import render_measurement as render_measurement
from hushpoint.ear import listen as listen
from hushpoint.errors import BadInputError as BadInputError
from hushpoint.guideline import cuff_for as cuff_for
from hushpoint.guideline.clinical_policies import clinical_policies as clinical_policies
from hushpoint.guideline.clinical_policies import clinical_policy as clinical_policy
from hushpoint.measure import Heard as Heard
from hushpoint.measure import Withheld as Withheld
from hushpoint.recording import read_recording as read_recording
from hushpoint.recording import write_recording as write_recording
from hushpoint.visit import Client as Client
from hushpoint.visit import Pulse as Pulse
from hushpoint.visit import TakenReading as TakenReading
from hushpoint.visit import Visit as Visit
from hushpoint.visit import judge_visit as judge_visit

__version__: str
