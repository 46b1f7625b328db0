"""`hushpoint serve` and `hushpoint demo`."""

from __future__ import annotations

import logging
import os
import shutil
import socket
import ssl
import threading
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from hushpoint.cli.keep import DEFAULT_DATA, INVENTED_MARK, RECORDINGS
from hushpoint.cli.log_lines import log_as_json
from hushpoint.cli.names import names_passphrase
from hushpoint.cli.told import note, tell
from hushpoint.cli.workers import tended
from hushpoint.desk import demo
from hushpoint.desk.recordings import RecordingFiles
from hushpoint.errors import HushpointError
from hushpoint.ledger.scheduled import BackupPlan, every_of
from hushpoint.ledger.sealed_file import passphrase_in
from hushpoint.ledger.store import FILE_NAME, open_ledger, open_sqlite
from hushpoint.wiring import Settings, build

DEMO_DATA = Path("demo-data")
_TO_PHONES = """\
This laptop made its certificate itself, so each phone asks once whether to trust it. Tell the class: open the
address that begins with https, choose "Advanced", then go on to the page. Whoever wants to be sure compares the
SHA-256 fingerprint that the phone shows with this one:
  {fingerprint}"""
STREAMS_CLOSE_S = 2
"""An open event stream would keep the server up for ever: it is given this long to end [s]."""


class ServeError(HushpointError):
    """The app cannot be served as asked."""


def serve_app(
    *,
    data: Path | None,
    port: int,
    class_mode: bool,
    database: str | None,
    names: list[str],
    certificate: Path | None,
    key: Path | None,
    own_certificate: bool,
    workers: int = 1,
    passphrase_file: Path | None = None,
    codes_only: bool = False,
    backup_to: Path | None = None,
    backup_every: str = "24h",
    backup_keep: int = 14,
    backup_passphrase_file: Path | None = None,
    metrics_token_file: Path | None = None,
) -> None:
    """Serve a ledger until stopped."""
    if workers > 1 and not database:
        raise ServeError("--workers: a SQLite ledger is served by one; name a PostgreSQL database with --database")
    if workers > 1 and not hasattr(os, "fork"):
        raise ServeError("--workers: this system runs one; start several servers on ports of their own instead")
    if own_certificate and (certificate or key):
        raise ServeError("--own-certificate: goes without --certificate and --key")
    if (certificate is None) != (key is None):
        raise ServeError("--certificate and --key: go together")
    folder = data or DEFAULT_DATA
    if backup_passphrase_file and not backup_to:
        raise ServeError("--backup-passphrase-file: goes with --backup-to")
    plan = backup_to and BackupPlan(
        backup_to,
        every_of(backup_every),
        backup_keep,
        folder / RECORDINGS,
        passphrase_in(backup_passphrase_file) if backup_passphrase_file else None,
    )
    token = passphrase_in(metrics_token_file) if metrics_token_file else ""
    shown = sorted(_own_names() | {name.lower() for name in names})
    if own_certificate:
        from hushpoint.cli.own_certificate import fingerprint, own_certificate_in

        certificate, key = own_certificate_in(folder, names=shown, addresses=_own_addresses() if class_mode else [])
        said = _TO_PHONES.format(fingerprint=fingerprint(certificate))
    else:
        said = ""
    tls = (certificate, key) if certificate and key else None
    settings = _settings(
        folder,
        port,
        class_mode,
        database=database,
        invented=database is None and (folder / INVENTED_MARK).exists(),
        names=frozenset(shown),
        tls=tls,
        https_only=not own_certificate,
    )
    listener = _taken(settings, tls)  # before anything is made or asked
    passphrase = names_passphrase(folder, database, passphrase_file, codes_only=codes_only)
    settings = replace(settings, passphrase=passphrase, codes_only=codes_only, backup=plan or None, metrics_token=token)
    _run(settings, listener, said, tls, workers=workers)


def serve_demo(*, data: Path | None, port: int, class_mode: bool) -> None:
    """Serve the invented college, made on first use in a folder of its own."""
    folder = data or DEMO_DATA
    try:
        code = _demo_ready(folder)
    except OSError as trouble:
        raise ServeError(f"{folder}: {trouble.strerror}; name a folder that can be written") from None
    said = f"class code {code}; lecturer's password {demo.PASSWORD}"
    settings = _settings(folder, port, class_mode, invented=True, demo_password=demo.PASSWORD)
    # what takes long is made while the first pages are looked at; a daemon, so that leaving waits for nothing: each of
    # its acts is whole in the ledger or not there, and the next start goes on
    filling = threading.Thread(target=_fill_up, args=(folder, code), name="invented", daemon=True)
    _run(settings, _taken(settings), said, beside=filling)


def _demo_ready(folder: Path) -> str:
    """Make the invented college in its folder unless it is there; return the code of its class."""
    marker = folder / INVENTED_MARK
    if folder.exists() and not marker.exists() and any(folder.iterdir()):
        raise ServeError(f"{folder}: holds something that is not the invented college; name another folder")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if not (folder / "READY").exists():
        marker.write_text("Everything in this folder is invented.\n", encoding="utf-8")
        for left in folder.glob(f"{FILE_NAME}*"):
            left.unlink()  # a first run that was stopped half way begins anew
        (folder / "FULL").unlink(missing_ok=True)
        shutil.rmtree(RecordingFiles(folder).kept, ignore_errors=True)
        note("making the invented college ...")
        now = datetime.now(UTC)
        clock = demo.DemoClock(now)
        ledger = open_sqlite(folder / FILE_NAME, clock=clock)
        code = demo.build_demo(ledger, clock, now)
        ledger.close()
        (folder / "READY").write_text(f"{code}\n", encoding="utf-8")
    return (folder / "READY").read_text(encoding="utf-8").strip()


def _fill_up(folder: Path, code: str) -> None:
    """Make the rest of the invented college, unless it is there."""
    full = folder / "FULL"
    if full.exists():
        return
    now = datetime.now(UTC)
    clock = demo.DemoClock(now)
    ledger = open_sqlite(folder / FILE_NAME, clock=clock)
    try:
        demo.fill_up(ledger, clock, now, RecordingFiles(folder), room=code)
        full.touch()
    except HushpointError as trouble:
        note(f"the invented college stays smaller: {trouble}")
    finally:
        ledger.close()


def _settings(
    data: Path,
    port: int,
    class_mode: bool,
    *,
    database: str | None = None,
    invented: bool = False,
    demo_password: str = "",
    names: frozenset[str] | None = None,
    tls: tuple[Path, Path] | None = None,
    https_only: bool = False,
) -> Settings:
    scheme = "https" if tls else "http"
    return Settings(
        data_dir=data,
        database_url=database,
        host="0.0.0.0" if class_mode else "127.0.0.1",  # noqa: S104 - asked for by --class
        port=port,
        invented=invented,
        demo_password=demo_password,
        addresses=tuple(f"{scheme}://{address}:{port}" for address in _own_addresses()) if class_mode else (),
        names=frozenset(_own_names()) if names is None else names,
        https_only=https_only and tls is not None,
    )


def _taken(settings: Settings, tls: tuple[Path, Path] | None = None) -> socket.socket:
    """Take the port; raises ServeError, one line, where it or the certificate cannot be used."""
    if tls:
        _check_tls(*tls)
    return _listener(settings.host, settings.port)


def _run(
    settings: Settings,
    listener: socket.socket,
    said: str = "",
    tls: tuple[Path, Path] | None = None,
    beside: threading.Thread | None = None,
    workers: int = 1,
) -> None:
    if workers == 1:
        app = build(settings)
    else:
        open_ledger(settings.data_dir, settings.database_url).close()  # made or migrated once, or refused in one line
    if beside is not None:
        beside.start()
    for address in (f"{'https' if tls else 'http'}://localhost:{settings.port}", *settings.addresses):
        print(f"open {address}", flush=True)  # noqa: T201
    if said:
        tell(said, flush=True)
    log_as_json()
    _many_connections()
    logging.getLogger("python_multipart").setLevel(logging.ERROR)  # it quotes bytes of forms that it cannot read
    if workers == 1:
        _listen(app, listener, tls)
    else:
        tended([lambda: _listen(build(settings), listener, tls)] * workers)


def _many_connections() -> None:
    """Allow as many open connections as the system lets this process have."""
    with suppress(ImportError, OSError, ValueError):
        import resource

        _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))


def _listen(app: Starlette, listener: socket.socket, tls: tuple[Path, Path] | None) -> None:
    config = uvicorn.Config(
        app,
        ssl_certfile=tls[0] if tls else None,
        ssl_keyfile=tls[1] if tls else None,
        log_config=None,
        log_level="warning",
        access_log=False,  # addresses and paths of learners stay out of logs
        timeout_graceful_shutdown=STREAMS_CLOSE_S,
        server_header=False,
        proxy_headers=False,  # nobody may say that they sit at the laptop
    )
    uvicorn.Server(config).run(sockets=[listener])


def _listener(host: str, port: int) -> socket.socket:
    # said to be TCP, so that asyncio sends at once (TCP_NODELAY): head and body of an answer go out apart, and the body
    # would wait 40 ms for the other side's word that the head has come
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        raise ServeError(
            f"port {port}: cannot be used ({error.strerror}); try --port with another, 1 to 65535"
        ) from None
    return listener


def _check_tls(certificate: Path, key: Path) -> None:
    """Refuse in one line what cannot be served, before a port is taken; a key with a passphrase is not asked for."""
    for path in (certificate, key):
        if not path.is_file():
            raise ServeError(f"{path}: no file is here")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=lambda: b"")
    except (ssl.SSLError, OSError, ValueError):
        raise ServeError(
            f"{certificate} and {key}: must be a certificate and its own key in PEM, the key without a passphrase"
        ) from None


def _own_names() -> set[str]:
    """Return the names by which this machine may be asked for."""
    name = socket.gethostname().lower()
    return {name, name.split(".")[0], f"{name.split('.')[0]}.local", "localhost"}


def _own_addresses() -> list[str]:
    """Return this machine's addresses on its networks, loopback left out."""
    found: set[str] = set()
    with suppress(OSError):  # a machine need not know its own name
        found |= {str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):  # nor be on a network
        probe.connect(("192.0.2.1", 9))  # sends nothing: asks which way out there is
        found.add(str(probe.getsockname()[0]))
    return sorted(address for address in found if not address.startswith("127."))
