"""What signing in needs in a test: an OpenID provider (Authlib's server side), a proxy in front of two servers, and a
clock that a test moves for all of them."""

from __future__ import annotations

import asyncio
import os
import secrets
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from http.cookies import SimpleCookie
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import uvicorn
from authlib.oauth2.rfc6749 import AuthorizationServer, ClientMixin, grants
from authlib.oauth2.rfc6749.requests import BasicOAuth2Payload, OAuth2Request
from authlib.oauth2.rfc6750 import BearerTokenGenerator
from authlib.oauth2.rfc7636 import CodeChallenge
from authlib.oidc.core.grants import OpenIDCode
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed
from websockets.typing import Origin, Subprotocol

ROOT = Path(__file__).resolve().parents[2]
# begun in place of streamlit: time.time tells what the test's clock says
_LAUNCH = """
import runpy, sys, time
from pathlib import Path
real, place = time.time, Path(sys.argv.pop(1))
time.time = lambda: real() + float(place.read_text() or 0)
sys.argv[0] = "streamlit"
runpy.run_module("streamlit", run_name="__main__")
"""


class MovedClock:
    """The time of day plus what the test has put on it, for every process that reads its file."""

    def __init__(self, place: Path) -> None:
        self.place = place
        place.write_text("0")

    def ahead(self, seconds: float) -> None:
        """Put the clocks so far ahead."""
        beside = self.place.with_suffix(".new")
        beside.write_text(str(seconds))
        os.replace(beside, self.place)

    def __call__(self) -> float:
        return time.time() + float(self.place.read_text())


@contextmanager
def listening(app: Starlette, port: int) -> Iterator[str]:
    """An ASGI application served from a thread of this process; gives its address."""
    server = uvicorn.Server(
        uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", proxy_headers=False, lifespan="off")
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server ended"
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = server.force_exit = True
        thread.join(20)


# -- the provider


class OneClient(ClientMixin):
    """brewwater, as the provider knows it."""

    def __init__(self, redirect_uri: str) -> None:
        self.client_id, self.secret, self.redirect_uri = "brew", secrets.token_hex(16), redirect_uri

    def get_client_id(self) -> str:
        return self.client_id

    def get_default_redirect_uri(self) -> str:
        return self.redirect_uri

    def get_allowed_scope(self, scope: str) -> str:
        return " ".join(s for s in (scope or "").split() if s in ("openid", "email", "profile"))

    def check_redirect_uri(self, redirect_uri: str) -> bool:
        return redirect_uri == self.redirect_uri

    def check_client_secret(self, client_secret: str) -> bool:
        return client_secret == self.secret

    def check_endpoint_auth_method(self, method: str, endpoint: str) -> bool:
        return method in ("client_secret_basic", "client_secret_post")

    def check_response_type(self, response_type: str) -> bool:
        return response_type == "code"

    def check_grant_type(self, grant_type: str) -> bool:
        return grant_type == "authorization_code"


class Given(SimpleNamespace):
    """A code that was given for a person's consent."""

    get_redirect_uri = lambda self: self.redirect_uri  # noqa: E731
    get_scope = lambda self: self.scope  # noqa: E731
    get_nonce = lambda self: self.nonce  # noqa: E731
    get_auth_time = lambda self: None  # noqa: E731
    get_acr = get_amr = get_auth_time


class Provider(AuthorizationServer):  # type: ignore[misc]
    """An OpenID provider: authorization code flow with PKCE, signed identity tokens, a page to choose an account on."""

    def __init__(self, address: str, redirect_uri: str, clock: MovedClock) -> None:
        super().__init__(scopes_supported=["openid", "email", "profile"])
        self.address, self.client, self.key = address, OneClient(redirect_uri), RSAKey.generate_key(2048)
        self.codes: dict[str, Given] = {}
        self.verified = True
        provider = self

        class Code(grants.AuthorizationCodeGrant):  # type: ignore[misc]
            TOKEN_ENDPOINT_AUTH_METHODS = ("client_secret_basic", "client_secret_post")

            def save_authorization_code(self, code: str, request: Any) -> None:
                asked = request.payload.data
                provider.codes[code] = Given(
                    redirect_uri=asked.get("redirect_uri"),
                    scope=request.scope,
                    nonce=asked.get("nonce"),
                    code_challenge=asked.get("code_challenge"),
                    code_challenge_method=asked.get("code_challenge_method"),
                    email=request.user,
                    code=code,
                )

            def query_authorization_code(self, code: str, client: OneClient) -> Given | None:
                return provider.codes.get(code)

            def delete_authorization_code(self, authorization_code: Given) -> None:
                provider.codes.pop(authorization_code.code)

            def authenticate_user(self, authorization_code: Given) -> str:
                return str(authorization_code.email)

        class Identity(OpenIDCode):  # type: ignore[misc]
            def exists_nonce(self, nonce: str, request: Any) -> bool:
                return any(g.nonce == nonce for g in provider.codes.values())

            def resolve_client_private_key(self, client: OneClient) -> RSAKey:
                return provider.key

            def get_client_claims(self, client: OneClient) -> dict[str, Any]:
                now = int(clock())
                return {
                    "iss": provider.address,
                    "aud": [client.client_id],
                    "iat": now,
                    "exp": now + 600,
                    "auth_time": now,
                }

            def generate_user_info(self, user: str, scope: str) -> dict[str, Any]:
                return {"sub": user, "email": user, "email_verified": provider.verified}

        self.register_grant(Code, [Identity(require_nonce=True), CodeChallenge(required=True)])
        self.register_token_generator("default", BearerTokenGenerator(lambda **_: secrets.token_hex(24), None, None))

    def query_client(self, client_id: str) -> OneClient | None:
        return self.client if client_id == self.client.client_id else None

    def save_token(self, token: Any, request: Any) -> None:
        """Access tokens open nothing here."""

    def send_signal(self, name: str, *args: Any, **kwargs: Any) -> None:
        """Nobody listens."""

    def create_oauth2_request(self, request: Any) -> OAuth2Request:
        method, uri, headers, form = request
        made = OAuth2Request(method, uri, headers=headers)
        made.payload = BasicOAuth2Payload(form)
        made._body = form
        return made

    def handle_response(self, status: int, body: Any, headers: Sequence[tuple[str, str]]) -> Response:
        if isinstance(body, dict):
            return JSONResponse(body, status, dict(headers))
        return Response(body, status, dict(headers))

    async def _plain(self, request: Request) -> tuple[str, str, dict[str, str], dict[str, str]]:
        form = dict(request.query_params)
        if request.method == "POST":
            form |= {k: str(v) for k, v in (await request.form()).items()}
        headers = {k.title(): v for k, v in request.headers.items()}
        return request.method, str(request.url), headers, form

    async def _authorize(self, request: Request) -> Response:
        asked = self.create_oauth2_request(await self._plain(request))
        if "email" not in asked.payload.data:
            choice = "".join(f"<button name=email value={name}@x.example>{name}</button>" for name in ("ann", "bea"))
            return HTMLResponse(f"<!doctype html><title>Who?</title><form method=post>{choice}</form>")
        grant = self.get_authorization_grant(asked)
        asked.user = asked.payload.data["email"]
        answer: Response = self.create_authorization_response(asked, grant_user=asked.user, grant=grant)
        return answer

    async def _token(self, request: Request) -> Response:
        answer: Response = self.create_token_response(await self._plain(request))
        return answer

    async def _about(self, request: Request) -> Response:
        return JSONResponse(
            {
                "issuer": self.address,
                "authorization_endpoint": f"{self.address}/authorize",
                "token_endpoint": f"{self.address}/token",
                "jwks_uri": f"{self.address}/keys",
                "response_types_supported": ["code"],
                "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
                "code_challenge_methods_supported": ["S256"],
            }
        )

    async def _keys(self, request: Request) -> Response:
        return JSONResponse({"keys": [self.key.as_dict(private=False)]})

    def app(self) -> Starlette:
        """The provider as an application."""
        return Starlette(
            routes=[
                Route("/authorize", self._authorize, methods=["GET", "POST"]),
                Route("/token", self._token, methods=["POST"]),
                Route("/keys", self._keys),
                Route("/.well-known/openid-configuration", self._about),
            ]
        )


# -- the servers and the proxy before them


@contextmanager
def server(folder: Path, clock: MovedClock, port: int, database: str) -> Iterator[str]:
    """``streamlit run app.py`` in a folder that holds its settings and secrets; gives its address once it answers."""
    settings = {k: v for k, v in os.environ.items() if not k.startswith("BREWWATER_")}
    settings |= {
        "BREWWATER_DATA": str(folder / "data"),
        "BREWWATER_LOG": str(folder / f"journal-{port}"),
        "BREWWATER_DATABASE_URL": database,
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
    }
    process = subprocess.Popen(
        [sys.executable, "-c", _LAUNCH, str(clock.place), "run", str(ROOT / "app.py"), f"--server.port={port}"],
        cwd=folder,
        env=settings,
        stdout=(folder / f"said-{port}").open("wb"),
        stderr=subprocess.STDOUT,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            with suppress(OSError), urllib.request.urlopen(f"{address}/_stcore/health", timeout=1):
                break
            assert process.poll() is None, (folder / f"said-{port}").read_text()[-2000:]
            time.sleep(0.1)
        yield address
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(20)


class Proxy:
    """Passes everything on to one of several servers, as a proxy in front of a fleet does: it says for whom it asks,
    and a browser stays on its server. A new browser gets the next one; ``answered`` counts what each was asked."""

    COOKIE = "stay"

    def __init__(self, servers: Sequence[str]) -> None:
        self.servers, self.answered, self._next = list(servers), [0] * len(servers), 0

    def _of(self, cookie: str) -> tuple[int, bool]:
        kept = SimpleCookie(cookie).get(self.COOKIE)
        if kept is not None and kept.value.isdigit() and int(kept.value) < len(self.servers):
            return int(kept.value), False
        self._next += 1
        return (self._next - 1) % len(self.servers), True

    @staticmethod
    def _forwarded(request: Request | WebSocket) -> dict[str, str]:
        client = request.client.host if request.client else "unknown"
        return {"x-forwarded-for": client, "x-forwarded-proto": "http", "via": "1.1 proxy"}

    async def _pass_on(self, request: Request) -> Response:
        number, new = self._of(request.headers.get("cookie", ""))
        self.answered[number] += 1
        headers = {k: v for k, v in request.headers.items() if k not in ("connection", "content-length")}
        async with httpx.AsyncClient(timeout=60, verify=False, trust_env=False) as client:  # no TLS on loopback
            answer = await client.request(
                request.method,
                f"{self.servers[number]}{request.url.path}?{request.url.query}".removesuffix("?"),
                headers=headers | self._forwarded(request),
                content=await request.body(),
            )
        made = Response(answer.content, answer.status_code)
        dropped = {"content-encoding", "content-length", "transfer-encoding", "connection"}
        made.raw_headers += [(k, v) for k, v in answer.headers.raw if k.decode().lower() not in dropped]
        if new:
            made.set_cookie(self.COOKIE, str(number), httponly=True)
        return made

    async def _open(self, page: WebSocket) -> None:
        number, _ = self._of(page.headers.get("cookie", ""))
        asked = [Subprotocol(p.strip()) for p in page.headers.get("sec-websocket-protocol", "").split(",") if p.strip()]
        headers = {k: page.headers[k] for k in ("cookie", "user-agent") if k in page.headers} | self._forwarded(page)
        try:
            beyond = await connect(
                f"ws://{page.headers['host']}{page.url.path}",  # asked for by its own name, at the server's address
                host="127.0.0.1",
                port=int(self.servers[number].rpartition(":")[2]),
                proxy=None,
                origin=Origin(page.headers["origin"]),
                subprotocols=asked,
                additional_headers=headers,
                max_size=None,
                open_timeout=60,
            )
        except Exception:  # refused there: refused here
            await page.close(1008)
            return
        await page.accept(beyond.subprotocol)

        async def there() -> None:
            with suppress(WebSocketDisconnect, ConnectionClosed, RuntimeError):
                while True:
                    await beyond.send(await page.receive_bytes())

        async def back() -> None:
            with suppress(WebSocketDisconnect, ConnectionClosed, RuntimeError):
                async for message in beyond:
                    await page.send_bytes(message if isinstance(message, bytes) else message.encode())

        tasks = [asyncio.create_task(there()), asyncio.create_task(back())]
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in tasks:
            task.cancel()
        await beyond.close()
        with suppress(RuntimeError, WebSocketDisconnect):
            await page.close()

    def app(self) -> Starlette:
        """The proxy as an application."""
        methods = ["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"]
        return Starlette(
            routes=[
                WebSocketRoute("/{path:path}", self._open),
                Route("/{path:path}", self._pass_on, methods=methods),
            ]
        )
