"""An identity provider for tests: OpenID Connect Core 1.0, authorization code flow, for one person, on this machine."""

from __future__ import annotations

import base64
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import uvicorn
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse
from starlette.routing import Route

CLIENT = "morning-watch"
CODE = "one-code"


@dataclass
class Provider:
    """The provider: whom it knows, where it is, and with what it signs."""

    url: str
    name: str
    key: rsa.RSAPrivateKey = field(default_factory=lambda: rsa.generate_private_key(65537, 2048))
    nonce: str | None = None

    def app(self) -> Starlette:
        """Its endpoints."""
        return Starlette(
            routes=[
                Route("/.well-known/openid-configuration", self._told),
                Route("/authorize", self._authorize),
                Route("/token", self._token, methods=["POST"]),
                Route("/keys", self._keys),
            ]
        )

    async def _told(self, _: Request) -> JSONResponse:
        ends = {
            f"{name}_endpoint": f"{self.url}/{path}"
            for name, path in (("authorization", "authorize"), ("token", "token"))
        }
        kinds = {
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
        }
        return JSONResponse({"issuer": self.url, "jwks_uri": f"{self.url}/keys", **ends, **kinds})

    async def _authorize(self, request: Request) -> HTMLResponse:
        """A page with one way on, as a person sees it."""
        self.nonce = request.query_params.get("nonce")
        answer = urlencode({"code": CODE, "state": request.query_params["state"]})
        return HTMLResponse(f'<a href="{request.query_params["redirect_uri"]}?{answer}">I am {self.name}</a>')

    async def _token(self, request: Request) -> JSONResponse:
        if (await request.form()).get("code") != CODE:
            return JSONResponse({"error": "invalid_grant"}, 400)
        now = int(time.time())
        claims = {"iss": self.url, "aud": CLIENT, "sub": "1", "name": self.name, "iat": now, "exp": now + 600}
        token = self._signed(claims | ({"nonce": self.nonce} if self.nonce else {}))
        return JSONResponse({"access_token": "a", "token_type": "Bearer", "expires_in": 600, "id_token": token})

    async def _keys(self, _: Request) -> JSONResponse:
        numbers = self.key.public_key().public_numbers()
        part = {name: _coded(_bytes(number)) for name, number in (("n", numbers.n), ("e", numbers.e))}
        return JSONResponse({"keys": [{"kty": "RSA", "kid": "1", "use": "sig", "alg": "RS256", **part}]})

    def _signed(self, claims: dict[str, Any]) -> str:
        """A JSON Web Token (RFC 7519), signed by RS256 (RFC 7518, 3.3)."""
        said = ".".join(_coded(json.dumps(each).encode()) for each in ({"alg": "RS256", "kid": "1"}, claims))
        return f"{said}.{_coded(self.key.sign(said.encode(), padding.PKCS1v15(), SHA256()))}"


@contextmanager
def provider(name: str) -> Iterator[Provider]:
    """A provider at work on a free port, where this person signs in."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        found = Provider(f"http://127.0.0.1:{door.getsockname()[1]}", name)
        server = uvicorn.Server(uvicorn.Config(found.app(), log_level="warning"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [door]})
        door.listen()
        thread.start()
        yield found
        server.should_exit = True
        thread.join()


def _bytes(number: int) -> bytes:
    return number.to_bytes((number.bit_length() + 7) // 8, "big")


def _coded(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()
