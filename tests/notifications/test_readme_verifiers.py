"""The verifiers that README gives to a dealer's developer, taken from README and run."""

import base64
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from standardwebhooks import Webhook

from tests import servers

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
# The test vector of Standard Webhooks 1.0.0's reference library.
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
IDENTITY = "msg_p5jXN8AQM9LWM0D4loKWxJek"
VECTOR_TIME = 1614265330
VECTOR_BODY = b'{"test": 2432232314}'
VECTOR_SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
OTHER = "v1," + base64.b64encode(b"0" * 32).decode()


def block(language: str) -> str:
    found = re.search(
        rf"<!-- verifier: {language} -->\n```{language}\n(.*?)```", README, flags=re.DOTALL
    )
    assert found, f"README has no {language} verifier"
    return found.group(1)


def say_python(headers: dict[str, str], body: bytes, at: int) -> bool:
    call = f"\ntime.time = lambda: {at}\nprint(is_genuine({SECRET!r}, {headers!r}, {body!r}))\n"
    done = subprocess.run(
        [sys.executable, "-c", block("python") + call], capture_output=True, text=True, check=True
    )
    return {"True": True, "False": False}[done.stdout.strip()]


def say_javascript(headers: dict[str, str], body: bytes, at: int) -> bool:
    encoded = base64.b64encode(body).decode()
    call = (
        f"\nDate.now = () => {at}000;\n"
        f"console.log(isGenuine({json.dumps(SECRET)}, {json.dumps(headers)}, "
        f'Buffer.from("{encoded}", "base64")));\n'
    )
    done = subprocess.run(
        ["node", "-e", block("javascript") + call], capture_output=True, text=True, check=True
    )
    return {"true": True, "false": False}[done.stdout.strip()]


Say = Callable[[dict[str, str], bytes, int], bool]
SAYERS = [
    pytest.param(say_python, id="python"),
    pytest.param(
        say_javascript,
        id="javascript",
        marks=pytest.mark.skipif(servers.node_path() is None, reason="Node.js is not here"),
    ),
]


def headers(signature: str = VECTOR_SIGNATURE, at: int = VECTOR_TIME) -> dict[str, str]:
    return {
        "webhook-id": IDENTITY,
        "webhook-timestamp": str(at),
        "webhook-signature": signature,
    }


@pytest.mark.parametrize("say", SAYERS)
class TestVerifier:
    def test_it_accepts_the_published_vector(self, say: Say) -> None:
        assert say(headers(), VECTOR_BODY, VECTOR_TIME) is True

    def test_it_accepts_either_of_two_signatures(self, say: Say) -> None:
        assert say(headers(f"{OTHER} {VECTOR_SIGNATURE}"), VECTOR_BODY, VECTOR_TIME) is True

    def test_it_refuses_an_altered_body(self, say: Say) -> None:
        assert say(headers(), VECTOR_BODY + b" ", VECTOR_TIME) is False

    def test_it_refuses_an_old_timestamp(self, say: Say) -> None:
        assert say(headers(), VECTOR_BODY, VECTOR_TIME + 301) is False

    def test_it_refuses_another_signature(self, say: Say) -> None:
        assert say(headers(OTHER), VECTOR_BODY, VECTOR_TIME) is False

    def test_it_refuses_another_version_of_signature(self, say: Say) -> None:
        assert say(headers("v2," + VECTOR_SIGNATURE[3:]), VECTOR_BODY, VECTOR_TIME) is False

    def test_it_refuses_a_notice_without_our_headers(self, say: Say) -> None:
        assert say({}, VECTOR_BODY, VECTOR_TIME) is False

    def test_it_agrees_with_the_reference_library(self, say: Say) -> None:
        moment = int(time.time())
        body = '{"type": "job.ready", "data": {"note": "Zoë was here"}}'
        signed = Webhook(SECRET).sign(IDENTITY, datetime.fromtimestamp(moment, UTC), body)
        assert say(headers(signed, moment), body.encode(), moment) is True
