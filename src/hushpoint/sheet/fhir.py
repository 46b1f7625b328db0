"""A visit as a FHIR R4B Bundle (HL7 FHIR 4.3.0): one blood pressure panel a reading, and one for the value.

Codes: LOINC, SNOMED CT and UCUM as the vital signs profile names them; which of them were seen and which are from
memory stands in `CODES`. The client is a code, never a name. The library checks structure; value sets and the profile
are checked by the project's own tests.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from uuid import NAMESPACE_OID, uuid5

LOINC, SNOMED, UCUM = "http://loinc.org", "http://snomed.info/sct", "http://unitsofmeasure.org"
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
_ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
_ABSENT_EXTENSION = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
PROFILE = "http://hl7.org/fhir/StructureDefinition/bp"

CODES: Mapping[str, tuple[str, str, str, str]] = {
    "panel": (LOINC, "85354-9", "Blood pressure panel with all children optional", "SEEN"),
    "systolic": (LOINC, "8480-6", "Systolic blood pressure", "SEEN"),
    "diastolic": (LOINC, "8462-4", "Diastolic blood pressure", "SEEN"),
    "cuff": (LOINC, "8358-4", "Blood pressure device cuff size", "SEEN"),
    "position": (LOINC, "8361-8", "Body position with respect to gravity", "FROM MEMORY"),
    "pulse": (LOINC, "8867-4", "Heart rate", "FROM MEMORY"),
    "sitting": (SNOMED, "33586001", "Sitting position", "SEEN"),
    "standing": (SNOMED, "10904000", "Standing position", "FROM MEMORY"),
    "supine": (SNOMED, "40199007", "Supine body position", "FROM MEMORY"),
    "left": (SNOMED, "368208006", "Left upper arm structure", "FROM MEMORY"),
    "right": (SNOMED, "368209003", "Right upper arm structure", "FROM MEMORY"),
    "auscultation": (SNOMED, "37931006", "Auscultation", "SEEN"),
    "aneroid": (SNOMED, "309641003", "Aneroid sphygmomanometer", "SEEN"),
}
"""System, code, display, and whether the code was seen in a source or is from memory."""
_POSITIONS = {"sitting": "sitting", "seated": "sitting", "standing": "standing", "supine": "supine", "lying": "supine"}


def bundle_json(readings: list[dict[str, Any]], value: dict[str, Any] | None, about: Mapping[str, str]) -> str:
    """Return the Bundle as JSON text, checked by the library.

    `readings` hold `at` (ISO 8601 with a zone, or None), `arm`, `systolic`, `diastolic` (None where not heard) and
    `marks`; `value` holds `systolic`, `diastolic`, `how`, `at` and `arm`, or is None. `about` holds `code`,
    `performer`, `cuff`, `gauge`, `position`, "" where not told, and `made` (ISO 8601).
    """
    from fhir.resources.R4B.bundle import Bundle

    seed = json.dumps([readings, value, dict(about)], sort_keys=True)
    patient = _address(seed, "client")
    panels = [
        (_address(seed, f"reading {number}"), _panel(reading, about, patient))
        for number, reading in enumerate(readings, start=1)
    ]
    entries = [{"fullUrl": patient, "resource": _client(about["code"])}]
    entries += [{"fullUrl": address, "resource": panel} for address, panel in panels]
    if value is not None:
        mean = _panel({**value, "marks": []}, about, patient)
        mean["note"] = [{"text": f"Value of the visit: {value['how']}."}]
        mean["derivedFrom"] = [{"reference": address} for address, _ in panels]
        entries.append({"fullUrl": _address(seed, "value"), "resource": mean})
    bundle = {"resourceType": "Bundle", "type": "collection", "timestamp": about["made"], "entry": entries}
    checked: str = Bundle.model_validate(bundle).model_dump_json(exclude_none=True, indent=1)
    return checked


def _address(seed: str, what: str) -> str:
    return f"urn:uuid:{uuid5(NAMESPACE_OID, f'{seed} {what}')}"


def _concept(key: str) -> dict[str, Any]:
    system, code, display, _ = CODES[key]
    return {"coding": [{"system": system, "code": code, "display": display}]}


def _client(code: str) -> dict[str, Any]:
    told = {"identifier": [{"system": "urn:hushpoint:client-code", "value": code}]} if code else {}
    return {"resourceType": "Patient", **told}


def _panel(reading: Mapping[str, Any], about: Mapping[str, str], patient: str) -> dict[str, Any]:
    parts = [_end("systolic", reading["systolic"]), _end("diastolic", reading["diastolic"])]
    if about["cuff"]:
        parts.append({"code": _concept("cuff"), "valueCodeableConcept": {"text": about["cuff"]}})
    if about["position"]:
        known = _POSITIONS.get(about["position"].strip().lower())
        position = {**(_concept(known) if known else {}), "text": about["position"]}
        parts.append({"code": _concept("position"), "valueCodeableConcept": position})
    gauge = f"aneroid sphygmomanometer{', ' + about['gauge'] if about['gauge'] else ''}"
    panel: dict[str, Any] = {
        "resourceType": "Observation",
        "meta": {"profile": [PROFILE]},
        "status": "final",
        "category": [{"coding": [{"system": _CATEGORY, "code": "vital-signs", "display": "Vital Signs"}]}],
        "code": _concept("panel"),
        "subject": {"reference": patient},
        "method": _concept("auscultation"),
        "device": {"display": gauge},
        "performer": [{"display": about["performer"] or "not told"}],
        "component": parts,
    }
    if reading.get("at"):
        panel["effectiveDateTime"] = reading["at"]
    else:
        unknown = {"url": _ABSENT_EXTENSION, "valueCode": "unknown"}
        panel["_effectiveDateTime"] = {"extension": [unknown]}
    if reading.get("arm"):
        panel["bodySite"] = _concept(reading["arm"])
    if reading["marks"]:
        panel["note"] = [{"text": "Marked: " + ", ".join(mark.replace("_", " ") for mark in reading["marks"]) + "."}]
    return panel


def _end(end: str, mmhg: float | None) -> dict[str, Any]:
    if mmhg is None:
        reason = {"coding": [{"system": _ABSENT, "code": "unknown"}], "text": "no sound heard"}
        return {"code": _concept(end), "dataAbsentReason": reason}
    quantity = {"value": round(mmhg, 2), "unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}
    return {"code": _concept(end), "valueQuantity": quantity}
