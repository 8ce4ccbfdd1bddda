"""What strangers try: other sites in the same browser, other programs, guessed paths.

The attacks are those of OWASP's cheat sheets on cross-site request forgery and DNS
rebinding (from memory).
"""

from __future__ import annotations

import socket
import stat

import pytest


def test_nobody_enters_without_the_secret(desk) -> None:
    """No cookie, a wrong one, a wrong secret: nothing but a sentence."""
    for path in ("/", "/songs", "/api/songs", "/static/desk.js", "/news", "/enter/", "/enter/x"):
        answer = desk.ask("GET", path, enter=False)
        assert answer.status == 403, path
        assert b"start it again" in answer.body.lower()
    forged = {"cookie": f"phrasefit_desk_{desk.port}=guess"}
    assert desk.ask("GET", "/songs", enter=False, headers=forged).status == 403


def test_the_cookie_is_shut_to_scripts_and_sites(desk) -> None:
    """The cookie is HttpOnly and SameSite=Strict (RFC 6265bis)."""
    answer = desk.ask("GET", "/enter/" + desk.address.rpartition("/")[2], enter=False)

    assert answer.status == 303
    parts = {part.strip().lower() for part in answer.headers["set-cookie"].split(";")[1:]}
    assert {"httponly", "samesite=strict", "path=/"} <= parts


@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1:1", "0.0.0.0"])
def test_another_host_is_refused(desk, host: str) -> None:
    """A name of a stranger that leads here (DNS rebinding) opens nothing, cookie or not."""
    answer = desk.ask("GET", "/songs", headers={"host": host.format(port=desk.port)})

    assert answer.status == 421


@pytest.mark.parametrize("origin", ["", "null", "http://evil.example", "https://127.0.0.1:{port}"])
def test_another_site_changes_nothing(desk, origin: str) -> None:
    """A write needs the desk's own Origin."""
    answer = desk.ask("POST", "/api/stop", headers={"origin": origin.format(port=desk.port)})

    assert answer.status == 403
    assert desk.process.poll() is None


def test_another_site_reads_nothing(desk) -> None:
    """Fetch Metadata tells that another site asks; a picture or script of it gets nothing."""
    for site in ("cross-site", "same-site"):
        headers = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
        assert desk.ask("GET", "/static/desk.js", headers=headers).status == 403


def test_answers_carry_a_strict_policy(desk) -> None:
    """Content Security Policy without 'unsafe', no framing by others, no sniffing, no CORS."""
    for path in ("/songs", "/static/desk.js", "/nothing-here"):
        headers = desk.ask("GET", path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "*" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert not [name for name in headers if name.startswith("access-control-")]


@pytest.mark.parametrize(
    "path",
    ["/static/../server.py", "/static/%2e%2e/server.py", "/shared/page.py", "/shared/../words.py",
     "/static/..%2f..%2fserver.py", "/static//etc/passwd", "/shared/%2fetc%2fpasswd.css"],
)  # fmt: skip
def test_no_file_outside_is_served(desk, path: str) -> None:
    """Ways out of the folders of scripts lead nowhere."""
    answer = desk.ask("GET", path)

    assert answer.status in (404, 405)
    assert b"import" not in answer.body and b"root:" not in answer.body


def test_it_listens_on_this_computer_only(desk) -> None:
    """Only loopback addresses are bound."""
    own = socket.gethostbyname(socket.gethostname())
    if own.startswith("127."):
        pytest.skip("this computer has no other address")
    with pytest.raises(OSError, match=r"refused|timed out"):
        socket.create_connection((own, desk.port), timeout=2)


def test_the_note_with_the_secret_is_for_its_owner(desk) -> None:
    """Other users of the computer cannot read the secret."""
    mode = (desk.folder / "desk.json").stat().st_mode

    assert stat.S_IMODE(mode) == 0o600


def test_two_hundred_connections_leave_it_alive(desk) -> None:
    """Connections that say nothing do not keep others out."""
    idle = [socket.create_connection(("127.0.0.1", desk.port)) for _ in range(200)]
    try:
        assert desk.ask("GET", "/songs").status == 200
    finally:
        for line in idle:
            line.close()


def test_more_than_the_desk_takes_is_refused(desk) -> None:
    """A long body ends in a sentence, not in memory."""
    answer = desk.ask("POST", "/api/stop", body=b" " * 3_000_000)

    assert answer.status == 413
    assert desk.process.poll() is None


def test_a_second_start_opens_the_first(desk, new_desk) -> None:
    """One desk for one data folder."""
    second = new_desk(desk.folder)

    assert second.process.wait(15) == 0
    assert second.address == desk.address


def test_its_button_ends_it(new_desk) -> None:
    """Asked by its own page the desk ends, and takes its note with it."""
    desk = new_desk()

    desk.post("/api/stop")

    assert desk.process.wait(15) == 0
    assert not (desk.folder / "desk.json").exists()


def test_the_frame_opens_in_a_browser(desk, page_of) -> None:
    """Five views, each with its address; back goes back."""
    page = page_of(desk)

    for name in ("Routines", "Sheet", "Evening", "Record", "Songs"):
        page.get_by_role("link", name=name, exact=True).click()
        page.get_by_role("heading", level=1).first.wait_for()
        assert page.url == f"{desk.origin}/{name.lower()}"
    page.go_back()
    page.wait_for_url("**/record")


@pytest.mark.parametrize("path", ["/api/songs/folders/forget", "/api/evenings", "/api/room/x"])
def test_half_a_letter_is_refused_in_words(desk, path: str) -> None:
    """Text cut through the middle of a letter beyond 16 bits can be neither kept nor sent back."""
    answer = desk.ask("POST", path, body=b'{"name": "\\ud83d", "revision": "\\ud83d"}')

    assert answer.status == 422
    assert answer.json["error"].startswith("a letter in what you wrote is not whole")
