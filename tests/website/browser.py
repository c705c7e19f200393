"""A real browser, driven through its DevTools protocol over a pipe: pages, keys, what the console said, screenshots."""

from __future__ import annotations

import atexit
import base64
import io
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import numpy as np
import pytest
from PIL import Image

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
in_browser = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: not tried in a browser")
_FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars", "--remote-debugging-pipe",
    "--disable-breakpad", "--disable-extensions", "--disable-features=BackForwardCache", "--process-per-site",
    "--disable-site-isolation-trials",
]  # fmt: skip
_PATIENCE_S = 30.0
_KEY_CODES = {"ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40, "Escape": 27, "Tab": 9, "Enter": 13}


class _Pipe:
    """Messages to a browser and from it, one at a time."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from, self._rest, self._number = to_browser, from_browser, b"", 0

    def write(self, message: dict[str, Any]) -> int:
        """Send a message and return the number that its answer will bear."""
        self._number += 1
        os.write(self._to, json.dumps({"id": self._number, **message}).encode() + b"\0")
        return self._number

    def read(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._from], [], [], _PATIENCE_S)
            assert ready, "the browser does not answer"
            data = os.read(self._from, 1 << 20)
            assert data, "the browser has ended"
            self._rest += data
        line, _, self._rest = self._rest.partition(b"\0")
        return dict(json.loads(line))


class Browser:
    """One tab. `console` holds every error and warning that the browser reported since `open`."""

    def __init__(self, pipe: _Pipe) -> None:
        self._pipe = pipe
        self._session: str | None = None
        self._events: list[dict[str, Any]] = []
        self.console: list[str] = []
        self._context = self.send("Target.createBrowserContext")["browserContextId"]
        target = self.send("Target.createTarget", url="about:blank", browserContextId=self._context)["targetId"]
        self._session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.send(f"{domain}.enable")

    def close(self) -> None:
        """Close the tab, and forget all that it has kept."""
        self._session = None
        self.send("Target.disposeBrowserContext", browserContextId=self._context)

    def send(self, method: str, **params: Any) -> dict[str, Any]:
        """Send a command of the protocol and wait for its answer."""
        answer = self._ask(method, **params)
        assert "error" not in answer, f"{method}: {answer}"
        return dict(answer["result"])

    def _ask(self, method: str, **params: Any) -> dict[str, Any]:
        message: dict[str, Any] = {"method": method, "params": params}
        if self._session is not None:
            message["sessionId"] = self._session
        number = self._pipe.write(message)
        while (answer := self._next()).get("id") != number:
            pass
        return answer

    def grant(self, origin: str, *permissions: str) -> None:
        """Let pages of an origin do what a person would be asked for."""
        self.send(
            "Browser.grantPermissions", origin=origin, permissions=list(permissions), browserContextId=self._context
        )

    def open(self, address: str, *, width_px: int = 1100, height_px: int = 1400, phone: bool = False) -> None:
        """Show a page and wait until it has loaded."""
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=width_px, height=height_px, deviceScaleFactor=1, mobile=phone,
        )  # fmt: skip
        self.console.clear()
        self._events.clear()
        self.send("Page.navigate", url=address)
        self.wait_for_load()

    def wait_for_load(self) -> None:
        """Wait until a page has loaded that was not there at the last `open` or `wait_for_load`."""
        while not any(event["method"] == "Page.loadEventFired" for event in self._events):
            self._next()
        self._events.clear()

    def set_scripts(self, on: bool) -> None:
        self.send("Emulation.setScriptExecutionDisabled", value=not on)

    def media(self, **features: str) -> None:
        """Set what the page is told of the reader: ``prefers_reduced_motion="reduce"``."""
        named = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.send("Emulation.setEmulatedMedia", features=named)

    def run(self, script: str) -> Any:
        """Return the value of an expression, awaited where it is a promise."""
        answer = self.send("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def wait(self, condition: str) -> None:
        """Wait until an expression holds; a page that is just going, or not yet whole, does not fulfil it."""
        until = time.monotonic() + _PATIENCE_S
        tried = f"(() => {{ try {{ return Boolean({condition}); }} catch {{ return false; }} }})()"
        while not self._ask("Runtime.evaluate", expression=tried).get("result", {}).get("result", {}).get("value"):
            assert time.monotonic() < until, f"never: {condition}"
            time.sleep(0.03)

    def press(self, *keys: str) -> None:
        """Press and release keys as a keyboard does."""
        for key in keys:
            named = len(key) > 1
            code = _KEY_CODES[key] if named else ord(key.upper())
            params = {"key": key, "windowsVirtualKeyCode": code}
            self.send("Input.dispatchKeyEvent", type="keyDown", **params, **({} if named else {"text": key}))
            self.send("Input.dispatchKeyEvent", type="keyUp", **params)

    def click(self, selector: str) -> None:
        """Click the middle of an element with the mouse."""
        self.drag(*self.middle(selector))

    def middle(self, selector: str) -> tuple[float, float]:
        left, top, width, height = self.box(selector)
        return left + width / 2, top + height / 2

    def box(self, selector: str) -> tuple[float, float, float, float]:
        """Left, top, width and height of the first element, in CSS pixels of the window."""
        found = self.run(
            f"(() => {{ const b = document.querySelector({json.dumps(selector)}).getBoundingClientRect();"
            " return [b.left, b.top, b.width, b.height]; })()"
        )
        return tuple(found)

    def drag(self, x: float, y: float, *, right: float = 0.0, down: float = 0.0) -> None:
        """Press the mouse at a place, move it (0: not at all), release it."""
        self.send("Input.dispatchMouseEvent", type="mousePressed", x=x, y=y, button="left", clickCount=1)
        if right or down:
            x, y = x + right, y + down
            self.send("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y, button="left", buttons=1)
        self.send("Input.dispatchMouseEvent", type="mouseReleased", x=x, y=y, button="left", clickCount=1)

    def shot(self) -> np.ndarray:
        """Return the window as pixels, (H, W, 3)."""
        data = base64.b64decode(self.send("Page.captureScreenshot", format="png")["data"])
        with Image.open(io.BytesIO(data)) as image:
            return np.asarray(image.convert("RGB")).astype(int)

    def _next(self) -> dict[str, Any]:
        message = self._pipe.read()
        self._note(message)
        return message

    def _note(self, message: dict[str, Any]) -> None:
        method, params = message.get("method"), message.get("params", {})
        if method is None:
            return
        self._events.append(message)
        if method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            self.console.append(f"{params['entry']['text']} {params['entry'].get('url', '')}")
        elif method == "Runtime.exceptionThrown":
            self.console.append(json.dumps(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            self.console.append(json.dumps(params["args"]))


@contextmanager
def browser() -> Iterator[Browser]:
    """Open a tab that shares nothing with those before it, in one browser for all tests of this process."""
    tab = Browser(_started())
    try:
        yield tab
    finally:
        tab.close()


@cache
def _started() -> _Pipe:
    """Start the browser, which ends with this process."""
    in_read, in_write = os.pipe()
    out_read, out_write = os.pipe()
    profile = tempfile.TemporaryDirectory(prefix="northlimb-browser-", ignore_cleanup_errors=True)

    def as_descriptors() -> None:
        # The protocol's fixed numbers: the browser reads from 3 and writes to 4.
        high_in, high_out = os.dup(in_read), os.dup(out_write)
        os.dup2(high_in, 3)
        os.dup2(high_out, 4)

    command = [str(CHROMIUM), *_FLAGS, f"--user-data-dir={profile.name}"]
    process = subprocess.Popen(
        command, preexec_fn=as_descriptors, close_fds=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    os.close(in_read)
    os.close(out_write)

    def end() -> None:
        process.terminate()
        process.wait(10)
        profile.cleanup()

    atexit.register(end)
    return _Pipe(in_write, out_read)
