"""`serve` over https, asked by a real client: a given certificate, and one made here."""

from __future__ import annotations

import ssl
import stat
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from hushpoint.cli.own_certificate import CERTIFICATE, KEY, fingerprint, own_certificate_in
from serving import COMMAND, free_port, stop, waited_for


@contextmanager
def serving(tmp_path: Path, *options: str) -> Iterator[tuple[int, subprocess.Popen[str]]]:
    """Serve over https and stop at the end."""
    port = free_port()
    site = waited_for(tmp_path / "data", port, *options, https=True)
    try:
        yield port, site.process
    finally:
        if site.process.poll() is None:
            stop(site)


def asked(port: int, path: str, trusted: Path | None) -> tuple[int, dict[str, str]]:
    """Ask as a client that trusts one certificate, or none."""
    trust = ssl.create_default_context(cafile=trusted)
    with urllib.request.urlopen(f"https://localhost:{port}{path}", context=trust, timeout=10) as answer:
        return answer.status, dict(answer.headers)


def test_own_certificate_serves_whoever_trusts_it(tmp_path: Path) -> None:
    """A client that trusts it, checking the name, is answered; one that does not breaks off; no promise of https."""
    with serving(tmp_path, "--own-certificate") as (port, process):
        certificate = tmp_path / "data" / CERTIFICATE
        status, headers = asked(port, "/healthz", certificate)
        assert status == 200
        assert "strict-transport-security" not in {name.lower() for name in headers}
        with pytest.raises(OSError, match="CERTIFICATE_VERIFY_FAILED"):
            asked(port, "/healthz", None)
        for name in (CERTIFICATE, KEY):
            assert stat.S_IMODE((tmp_path / "data" / name).stat().st_mode) == 0o600
        process.terminate()
        said = process.communicate(timeout=15)[0]
        assert f"open https://localhost:{port}" in said
        assert fingerprint(certificate) in said


def test_a_given_certificate_promises_https(tmp_path: Path) -> None:
    """Browsers are told to keep to https, and cookies are for https alone."""
    certificate, key = own_certificate_in(tmp_path / "it", names=["localhost"], addresses=[])
    with serving(tmp_path, "--certificate", str(certificate), "--key", str(key)) as (port, _):
        _, headers = asked(port, "/", certificate)
        assert headers["strict-transport-security"].startswith("max-age=")
        trust = ssl.create_default_context(cafile=certificate)
        opener = urllib.request.build_opener(urllib.request.HTTPSHandler(context=trust), _Stay)
        with opener.open(f"https://localhost:{port}/class/first-run", b"password=ten+letters+or+more") as answer:
            assert "secure" in answer.headers["set-cookie"].lower()


def test_a_certificate_is_kept_until_it_no_longer_fits(tmp_path: Path) -> None:
    """The same one serves again, so that phones need not be asked anew; for a further address another is made."""
    certificate, _ = own_certificate_in(tmp_path, names=["localhost"], addresses=["10.0.0.5"])
    first = fingerprint(certificate)
    own_certificate_in(tmp_path, names=["localhost"], addresses=["10.0.0.5"])
    assert fingerprint(certificate) == first
    own_certificate_in(tmp_path, names=["localhost"], addresses=["10.0.0.5", "10.0.0.9"])
    assert fingerprint(certificate) != first


@pytest.mark.parametrize(
    "options",
    [
        ["--certificate", "only.pem"],
        ["--certificate", "no.pem", "--key", "no.pem"],
        ["--certificate", "{junk}", "--key", "{junk}"],
        ["--own-certificate", "--certificate", "a.pem", "--key", "a.pem"],
    ],
)
def test_what_cannot_be_served_is_one_line(tmp_path: Path, options: list[str]) -> None:
    """Status 2, and no folder is made."""
    junk = tmp_path / "junk.pem"
    junk.write_text("no certificate")
    filled = [option.format(junk=junk) for option in options]
    done = subprocess.run(
        [*COMMAND, "serve", "--data", str(tmp_path / "data"), "--port", str(free_port()), *filled],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "data").exists()
    assert sys.executable not in done.stderr


class _Stay(urllib.request.HTTPRedirectHandler):
    """Do not follow: the cookie is on the answer that leads on."""

    def http_error_303(self, req: object, fp: object, code: int, msg: str, headers: object) -> object:
        """Return the answer itself."""
        return fp
