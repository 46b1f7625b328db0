"""Doors, classes, bench and agreement: who may do what."""

from __future__ import annotations

from permission_rows.rows import Asked, anyone, learners, lecturers, the_learners_own

PASSWORD = "ten letters or more"
READINGS = b"measurement,observer,systolic,diastolic\n1,J,120,80\n1,R,124,82\n"

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/"): anyone(200),
    ("GET", "/join"): anyone(303, params={"code": "{code}"}),
    ("GET", "/join/{code}"): anyone(200),
    ("POST", "/join/{code}"): anyone(303, data={"name": "Newcomer {asker}", "new": "yes"}),
    ("POST", "/join/alone"): anyone(303),
    ("POST", "/leave"): anyone(303),
    ("GET", "/policy"): anyone(200),
    ("GET", "/healthz"): anyone(200),
    ("GET", "/agreement"): anyone(200),
    ("POST", "/agreement"): anyone(200, files={"file": ("r.csv", READINGS)}),
    ("GET", "/static"): anyone(200),
    ("GET", "/class"): Asked((200,) * 5, also={"practitioner": 303, "auditor": 303}),
    ("POST", "/class/first-run"): anyone(409, data={"password": "another good password"}),
    ("POST", "/class/sign-in"): anyone(303, data={"password": PASSWORD}),
    ("POST", "/class/open"): lecturers(303, data={"name": "Group C", "policy": "PALPATED_30"}),
    ("GET", "/class/{code}"): lecturers(200),
    ("GET", "/class/{code}/wall"): lecturers(200),
    ("GET", "/class/{code}/events"): lecturers(200),
    ("GET", "/class/{code}/wall/events"): lecturers(200),
    ("POST", "/class/{code}/roster"): lecturers(200, data={"names": "Ida Invented", "add": "yes"}),
    ("POST", "/class/{code}/change"): lecturers(303, data={"name": "Group A again", "policy": "PALPATED_30"}),
    ("POST", "/class/{code}/close"): lecturers(303, data={"closed": ""}),
    ("GET", "/class/{code}/learner/{who}"): lecturers(200),
    ("GET", "/class/{code}/learner/{who}/results"): lecturers(200),
    ("GET", "/class/{code}/learner/{who}/release/{measurement}"): lecturers(200),
    ("GET", "/class/{code}/learner/{who}/release/{measurement}/picture.svg"): lecturers(200),
    ("GET", "/practise"): learners(200, 303),
    ("GET", "/practise/results"): learners(200, 303),
    ("GET", "/practise/bench"): learners(200, 303),
    ("POST", "/practise/measurements"): learners(201, 403, json={"ref": "another"}),
    ("POST", "/practise/measurements/{measurement}/set-up"): the_learners_own(200, json={"choices": "{choices}"}),
    ("POST", "/practise/measurements/{measurement}/log"): the_learners_own(200, json="{log}"),
    ("GET", "/practise/measurements/{measurement}/judgement"): the_learners_own(200),
    ("POST", "/practise/measurements/{measurement}/correction"): the_learners_own(
        201, json={"reading": {"systolic": 120, "diastolic": 80}, "why": "slip"}
    ),
}

LAST: dict[tuple[str, str], Asked] = {
    ("POST", "/class/{code}/devices"): lecturers(303),
    ("POST", "/class/{code}/learner/{who}/off"): lecturers(303),
    # after every other area's: it takes the learner away
    ("POST", "/class/{code}/learner/{who}/erase"): lecturers(303, data={"why": "asked", "sure": "yes"}),
}
