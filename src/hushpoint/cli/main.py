"""The command `hushpoint`. Imports are lazy: `hushpoint --help` answers at once.

Exit status: 0 the work was done, whatever the verdict; 1 `verify` or `doctor` found something; 2 bad input, told in
one line on standard error.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from hushpoint.cli.told import Command, Group, note
from hushpoint.errors import HushpointError

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # a few hundred columns: more threads only wait for one another

app = typer.Typer(
    cls=Group,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Teach, practise and judge the manual measurement of resting blood pressure.",
)

DataDir = Annotated[Path | None, typer.Option("--data", help="Folder of the ledger [default: hushpoint-data].")]
NamesFile = Annotated[
    Path | None, typer.Option("--passphrase-file", help="File with the passphrase of encrypted names, one line.")
]
SkipBadRows = Annotated[bool, typer.Option("--skip-bad-rows", help="Leave bad rows out, naming them, and go on.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print stable, documented JSON.")]


@app.command(cls=Command)
def render(
    systolic: Annotated[float, typer.Option(help="Systolic pressure of the arm, mmHg.")] = 128.0,
    diastolic: Annotated[float, typer.Option(help="Diastolic pressure of the arm, mmHg.")] = 82.0,
    pulse: Annotated[float, typer.Option(help="Pulse per minute.")] = 72.0,
    release: Annotated[float, typer.Option(help="Release rate, mmHg per second.")] = 2.5,
    seed: Annotated[int, typer.Option(help="Same seed, same bytes.")] = 1,
    out: Annotated[Path, typer.Option(help="Folder to write into.")] = Path("out"),
    gap: Annotated[str | None, typer.Option(help="Silent gap, LOW:HIGH in mmHg, such as 150:168.")] = None,
    rhythm: Annotated[str, typer.Option(help="regular, irregular or ectopic.")] = "regular",
    faint_db: Annotated[float, typer.Option(help="Make the arm this many dB fainter.")] = 0.0,
    noise: Annotated[str | None, typer.Option(help="Background: quiet, ward or class.")] = None,
    count: Annotated[int, typer.Option(help="How many measurements, with seeds from SEED on.")] = 1,
) -> None:
    """Write the sound, cuff pressure and truth of measurements on practice arms."""
    from hushpoint.cli.render import render_files

    render_files(
        systolic, diastolic, pulse, release, seed, out, gap=gap, rhythm=rhythm, faint_db=faint_db, noise=noise,
        count=count,
    )  # fmt: skip


@app.command(cls=Command)
def read(
    paths: Annotated[list[Path], typer.Argument(help="Recordings, or folders of them.")],
    json: AsJson = False,
    picture: Annotated[Path | None, typer.Option(help="Also draw each recording, into this folder.")] = None,
    jobs: Annotated[int, typer.Option(help="How many processes work at once.")] = 1,
    keep: Annotated[Path | None, typer.Option(help="Also add results to this file; run again to go on.")] = None,
    beats: Annotated[bool, typer.Option("--beats", help="With --json: every beat too.")] = False,
    form: Annotated[str, typer.Option(help="Form of the pictures: png, svg or pdf.")] = "png",
    grade: Annotated[bool, typer.Option("--grade", help="Then grade against the truths beside the files.")] = False,
    scheduler: Annotated[str | None, typer.Option(help="Work on a Dask scheduler, such as tcp://HOST:8786.")] = None,
) -> None:
    """Say what could be heard in recordings of sound and cuff pressure, or why it will not say."""
    from hushpoint.cli.read import read_files

    raise typer.Exit(
        read_files(
            paths, as_json=json, picture=picture, jobs=jobs, keep=keep, beats=beats, form=form, graded=grade,
            scheduler=scheduler,
        )
    )  # fmt: skip


@app.command(cls=Command)
def agree(
    readings: Annotated[Path, typer.Argument(help="CSV: measurement,observer,systolic,diastolic[,client,gauge,at].")],
    reference: Annotated[str | None, typer.Option(help="Compare every observer with this one.")] = None,
    json: AsJson = False,
    picture: Annotated[Path | None, typer.Option(help="Also draw the differences, as PNG or SVG.")] = None,
    skip_bad_rows: SkipBadRows = False,
) -> None:
    """Say how far observers agree: bias, limits of agreement, shares within 2, 4, 5, 10 and 15 mmHg."""
    from hushpoint.cli.agree import agree_file

    agree_file(readings, reference=reference, as_json=json, picture=picture, skip_bad_rows=skip_bad_rows)


@app.command(cls=Command)
def digits(
    readings: Annotated[Path, typer.Argument(help="CSV: measurement,observer,systolic,diastolic.")],
    json: AsJson = False,
    skip_bad_rows: SkipBadRows = False,
) -> None:
    """Count last digits by observer and say whether zeros stand out."""
    from hushpoint.cli.agree import digits_file

    digits_file(readings, as_json=json, skip_bad_rows=skip_bad_rows)


@app.command(cls=Command)
def whose(
    readings: Annotated[Path, typer.Argument(help="CSV: measurement,observer,systolic,diastolic[,client,gauge,at].")],
    reference: Annotated[str | None, typer.Option(help="The observer whose bias is called 0.")] = None,
    json: AsJson = False,
    skip_bad_rows: SkipBadRows = False,
) -> None:
    """Say whose error it is: every observer's own bias and spread, every gauge's bias, from all readings at once."""
    from hushpoint.cli.whose import whose_file

    whose_file(readings, reference=reference, as_json_text=json, skip_bad_rows=skip_bad_rows)


@app.command(cls=Command)
def judge(
    readings: Annotated[Path, typer.Argument(help="CSV: measurement,observer,systolic,diastolic[,client].")],
    learner: Annotated[str, typer.Option(help="Whose readings are judged.")],
    reference: Annotated[str, typer.Option(help="The observer they are judged by.")],
    rule: Annotated[str, typer.Option(help="Id of the pass rule, such as OBRIEN_90_95.")],
    rules: Annotated[Path | None, typer.Option(help="CSV with your own rules; see docs/competence.md.")] = None,
    variety: Annotated[bool, typer.Option("--variety", help="Also ask for systolics from 140 and from 160.")] = False,
    json: AsJson = False,
) -> None:
    """Say by a published pass rule whether a learner's pairs show competence, and what is missing."""
    from hushpoint.cli.judge import judge_file

    judge_file(readings, learner=learner, reference=reference, rule=rule, rules=rules, variety=variety, as_json=json)


@app.command(cls=Command)
def gauge(
    check: Annotated[Path, typer.Argument(help="CSV: reference_mmhg,reading_mmhg,direction (up or down).")],
    rule: Annotated[str, typer.Option(help="new, in_use, local or local=LIMIT.")] = "new",
    reference_error: Annotated[str | None, typer.Option(help="The reference's certificate error, mmHg.")] = None,
    json: AsJson = False,
) -> None:
    """Judge a gauge beside a reference: errors, zero, hysteresis, pass or fail by a named rule."""
    from hushpoint.cli.gauge import gauge_file

    gauge_file(check, rule=rule, reference_error=reference_error, as_json=json)


@app.command(cls=Command)
def leak(
    times: Annotated[Path, typer.Argument(help="CSV: time_s,reading_mmhg.")],
    test: Annotated[str, typer.Option(help="leak, exhaust or valve.")] = "leak",
    rule: Annotated[str, typer.Option(help="new, in_use, local or local=LIMIT; for a leak.")] = "new",
    json: AsJson = False,
) -> None:
    """Judge timed readings of a gauge: leak, rapid exhaust, or a release valve set to 2 to 3 mmHg per second."""
    from hushpoint.cli.leak import timed_file

    timed_file(times, test=test, rule=rule, as_json=json)


@app.command(cls=Command)
def cuff(
    arm_cm: Annotated[str, typer.Argument(metavar="CM", help="Circumference of the mid-upper arm, cm.")],
    bladder: Annotated[str | None, typer.Option(help="The bladder in hand, WIDTHxLENGTH in cm.")] = None,
    json: AsJson = False,
) -> None:
    """Name the cuff for an arm, what each bladder would cover of it, and what the wrong one does."""
    from hushpoint.cli.cuff import cuff_for_arm

    cuff_for_arm(arm_cm, bladder=bladder, as_json=json)


@app.command(cls=Command)
def recall(
    gauge: Annotated[str, typer.Argument(help="A gauge of the register, by its label or its id.")],
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    policy: Annotated[str | None, typer.Option(help="Policy for visits that name none [default: NHFA_2016].")] = None,
    json: AsJson = False,
) -> None:
    """List what a failed gauge touched since its last good check, each reading corrected; changes nothing."""
    from hushpoint.cli.recall import list_touched

    list_touched(gauge, data=data, database=database, policy=policy, as_json=json)


@app.command(cls=Command)
def visit(
    visit_json: Annotated[str, typer.Argument(metavar="VISIT", help="JSON file of a visit, or - for standard input.")],
    policy: Annotated[
        str | None, typer.Option(help="Id of a policy or CSV file of your own; wins over the file's.")
    ] = None,
    letter: Annotated[Path | None, typer.Option(help="Write the letter to a doctor, PDF.")] = None,
    client_page: Annotated[Path | None, typer.Option(help="Write the page the client takes home, PDF.")] = None,
    record: Annotated[Path | None, typer.Option(help="Write the record for the file, PDF.")] = None,
    fhir: Annotated[Path | None, typer.Option(help="Write a FHIR R4B Bundle, JSON.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the readings, CSV.")] = None,
    json: AsJson = False,
) -> None:
    """Judge a client's visit under a policy: the next step, the value, its category, proceed, repeat or refer."""
    from hushpoint.cli.visit import visit_file

    files = {"--letter": letter, "--client-page": client_page, "--record": record, "--fhir": fhir, "--csv": csv}
    raise typer.Exit(visit_file(visit_json, policy=policy, as_json=json, files=files))


@app.command(cls=Command)
def policy(
    policy: Annotated[
        str | None, typer.Argument(metavar="[POLICY]", help="Id of a shipped policy to write out, or a CSV to check.")
    ] = None,
    own_id: Annotated[str | None, typer.Option(help="The id that the policy written out is given.")] = None,
) -> None:
    """List the clinical policies, write one out as CSV to be changed, or check an own one."""
    from hushpoint.cli.policy import show_policy

    show_policy(policy, own_id)


@app.command(cls=Command)
def serve(
    data: DataDir = None,
    port: Annotated[int, typer.Option(help="Port to listen on.", min=1, max=65535)] = 8100,
    class_mode: Annotated[
        bool, typer.Option("--class", help="Open to the class network, not this machine only.")
    ] = False,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    name: Annotated[list[str] | None, typer.Option(help="Another name this server is asked for by.")] = None,
    certificate: Annotated[Path | None, typer.Option(help="TLS certificate with its chain, PEM.")] = None,
    key: Annotated[Path | None, typer.Option(help="Key of the certificate, PEM, without a passphrase.")] = None,
    own_certificate: Annotated[
        bool, typer.Option("--own-certificate", help="https with a certificate made here.")
    ] = False,
    workers: Annotated[int, typer.Option(help="Processes that answer, with --database only.", min=1, max=64)] = 1,
    passphrase_file: NamesFile = None,
    codes_only: Annotated[
        bool, typer.Option("--codes-only", help="Where names are encrypted: go on without them.")
    ] = False,
    backup_to: Annotated[Path | None, typer.Option(help="Folder for backups made while it runs.")] = None,
    backup_every: Annotated[str, typer.Option(help="How often: 90m, 24h, 7d.")] = "24h",
    backup_keep: Annotated[int, typer.Option(help="How many are kept.", min=1, max=1000)] = 14,
    backup_passphrase_file: Annotated[
        Path | None, typer.Option(help="Seal those backups with the passphrase in this file.")
    ] = None,
    metrics_token_file: Annotated[
        Path | None, typer.Option(help="Also show /metrics to who carries the token in this file.")
    ] = None,
) -> None:
    """Start the app."""
    from hushpoint.cli.serve import serve_app

    serve_app(
        data=data, port=port, class_mode=class_mode, database=database, names=name or [], certificate=certificate,
        key=key, own_certificate=own_certificate, workers=workers, passphrase_file=passphrase_file,
        codes_only=codes_only, backup_to=backup_to, backup_every=backup_every, backup_keep=backup_keep,
        backup_passphrase_file=backup_passphrase_file, metrics_token_file=metrics_token_file,
    )  # fmt: skip


@app.command(cls=Command)
def password(
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    role: Annotated[str, typer.Option(help="lecturer, assessor or practitioner.")] = "lecturer",
) -> None:
    """Set a new password at the laptop, when the old one is forgotten; signs the role out everywhere."""
    from hushpoint.cli.keep import new_password

    new_password(data=data, database=database, role=role)


@app.command(cls=Command)
def encrypt(
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    passphrase_file: NamesFile = None,
    new_passphrase_file: Annotated[
        Path | None, typer.Option(help="Change the passphrase to the one in this file.")
    ] = None,
    lost: Annotated[
        bool, typer.Option("--lost", help="The old passphrase is lost: give its names up and begin with this one.")
    ] = False,
) -> None:
    """Encrypt names and notes in the ledger, earlier ones too. A lost passphrase loses the names for good."""
    from hushpoint.cli.names import encrypt_names

    encrypt_names(
        data=data, database=database, passphrase_file=passphrase_file, new_file=new_passphrase_file, lost=lost
    )


@app.command(cls=Command)
def demo(
    data: Annotated[
        Path | None, typer.Option("--data", help="Folder of the invented college [default: demo-data].")
    ] = None,
    port: Annotated[int, typer.Option(help="Port to listen on.", min=1, max=65535)] = 8100,
    class_mode: Annotated[
        bool, typer.Option("--class", help="Open to the class network, not this machine only.")
    ] = False,
) -> None:
    """Start the app with an invented college, kept apart from real data."""
    from hushpoint.cli.serve import serve_demo

    serve_demo(data=data, port=port, class_mode=class_mode)


@app.command(cls=Command)
def export(
    learners: Annotated[list[str], typer.Argument(metavar="LEARNER...", help="Learners, by name or id.")],
    out: Annotated[Path, typer.Option(help="Folder to write into.")] = Path("out"),
    room: Annotated[str | None, typer.Option("--in", help="Code of the class, where a name is in several.")] = None,
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    passphrase_file: NamesFile = None,
) -> None:
    """Write an evidence bundle a learner: a ZIP to read, print and recompute without the ledger."""
    from hushpoint.cli.export import export_bundles

    export_bundles(learners, out=out, room=room, data=data, database=database, passphrase_file=passphrase_file)


@app.command(cls=Command)
def verify(
    bundle: Annotated[
        Path | None, typer.Argument(metavar="[BUNDLE]", help="An evidence bundle, in place of the ledger.")
    ] = None,
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    json: AsJson = False,
    passphrase_file: NamesFile = None,
) -> None:
    """Recompute the journal's chain, or a bundle's digests and verdicts, and name the first altered row."""
    if bundle is not None:
        from hushpoint.cli.export import verify_bundle_file

        raise typer.Exit(
            verify_bundle_file(bundle, data=data, database=database, as_json=json, passphrase_file=passphrase_file)
        )
    from hushpoint.cli.keep import verify_ledger

    raise typer.Exit(verify_ledger(data=data, database=database, as_json=json, passphrase_file=passphrase_file))


@app.command(cls=Command)
def doctor(
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    port: Annotated[int, typer.Option(help="The port to be served on.", min=1, max=65535)] = 8100,
    certificate: Annotated[Path | None, typer.Option(help="The certificate it is served with, PEM.")] = None,
    json: AsJson = False,
    passphrase_file: NamesFile = None,
) -> None:
    """Say what is wrong and what to do; change nothing."""
    from hushpoint.cli.doctor import doctor_told

    raise typer.Exit(
        doctor_told(
            data=data,
            database=database,
            port=port,
            as_json=json,
            passphrase_file=passphrase_file,
            certificate=certificate,
        )
    )


@app.command(cls=Command)
def backup(
    file: Annotated[Path, typer.Argument(help="File to write; must not exist.")],
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    passphrase_file: Annotated[Path | None, typer.Option(help="File with the passphrase, one line.")] = None,
) -> None:
    """Write everything in the ledger to one portable file."""
    from hushpoint.cli.keep import backup_ledger

    backup_ledger(file, data=data, database=database, passphrase_file=passphrase_file)


@app.command(cls=Command)
def restore(
    file: Annotated[Path, typer.Argument(help="A file that `backup` wrote.")],
    data: DataDir = None,
    database: Annotated[str | None, typer.Option(help="PostgreSQL URL in place of the SQLite file.")] = None,
    passphrase_file: Annotated[Path | None, typer.Option(help="File with the passphrase, one line.")] = None,
) -> None:
    """Bring a backup into an empty ledger."""
    from hushpoint.cli.keep import restore_ledger

    restore_ledger(file, data=data, database=database, passphrase_file=passphrase_file)


def _one_line(refusal: typer.TyperException) -> str:
    message = refusal.format_message() if hasattr(refusal, "format_message") else str(refusal)
    return f"{' '.join(message.split()).rstrip('.')}; hushpoint --help lists commands and options"


def _refuse(line: str) -> NoReturn:
    note(line, before="hushpoint: ")
    sys.exit(2)


def _leave_quietly() -> NoReturn:
    """Whoever read our output has enough of it; the interpreter must not try to flush the rest."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(0)


def run() -> None:
    """Run the command line; every refusal is one line on standard error and status 2."""
    # The matrices here are small: threads that wait for one another cost more than they bring, the more so beside a
    # class at work. Set before numpy is first imported; what stands in the environment wins.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        status = app(standalone_mode=False)
        sys.stdout.flush()
    except HushpointError as refusal:
        _refuse(str(refusal))
    except (typer.Abort, KeyboardInterrupt):
        sys.exit(130)
    except typer.TyperException as refusal:
        _refuse(_one_line(refusal))
    except BrokenPipeError:
        _leave_quietly()
    except SystemExit as end:
        if isinstance(end.__context__, BrokenPipeError):  # noticed on the way, and made a status 1 of
            _leave_quietly()
        raise
    except OSError as trouble:
        _refuse(f"the machine refused: {trouble.strerror or type(trouble).__name__}")
    sys.exit(status if isinstance(status, int) else 0)
