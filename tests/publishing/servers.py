"""Real servers on the loopback address, each with its own keys, certificates and folder; all end with their test.

OpenSSH and nginx are Debian's (openssh-server, nginx-light); FTP is pyftpdlib, WebDAV wsgidav on cheroot, S3 moto.
"""

from __future__ import annotations

import getpass
import os
import shutil
import socket
import subprocess
import threading
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

import pytest

PASSWORD = "correct horse"


@dataclass
class Host:
    """A server: where it listens, the folder that it serves, and what the environment must hold to use it."""

    port: int
    root: Path
    environment: dict[str, str] = field(default_factory=dict)
    extra: Any = None


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def program(name: str, package: str) -> str:
    """Where a program lies; skips the test where the system has none."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin:/sbin")
    if found is None:
        pytest.skip(f"needs {name}: install Debian's {package}")
    return found


def wait_until_open(port: int, *, process: subprocess.Popen[bytes] | None = None) -> None:
    """Wait until somebody listens; ten seconds at most."""
    for _ in range(200):
        if process is not None and process.poll() is not None:
            raise AssertionError(f"the server ended with {process.returncode}")
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        time.sleep(0.05)
    raise AssertionError(f"nobody listens on port {port}")


@contextmanager
def running(words: list[str], port: int) -> Iterator[None]:
    """A server process until the end of the block."""
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_until_open(port, process=process)
        yield
    finally:
        process.terminate()
        process.wait(10)


@contextmanager
def ssh_server(folder: Path) -> Iterator[Host]:
    """OpenSSH with generated keys; `environment` makes ssh and this program's SFTP use and trust them."""
    sshd, keygen = program("sshd", "openssh-server"), program("ssh-keygen", "openssh-client")
    port, home = free_port(), folder / "home"
    (home / ".ssh").mkdir(parents=True)
    for key in (folder / "host_key", home / ".ssh/id_ed25519"):
        subprocess.run([keygen, "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
    public = (home / ".ssh/id_ed25519.pub").read_text()
    (folder / "authorized").write_text(public)
    known = " ".join((folder / "host_key.pub").read_text().split()[:2])
    (home / ".ssh/known_hosts").write_text(f"[127.0.0.1]:{port} {known}\n")
    (folder / "sshd_config").write_text(
        f"ListenAddress 127.0.0.1:{port}\nHostKey {folder}/host_key\nAuthorizedKeysFile {folder}/authorized\n"
        "StrictModes no\nUsePAM no\nPasswordAuthentication no\nPermitRootLogin yes\n"
        f"PidFile none\nSubsystem sftp internal-sftp\nMaxStartups 50\n"
        "SetEnv SHLVL=2\n"  # bash then reads no ~/.bashrc, whose length is no matter of ours
    )
    (folder / "ssh_config").write_text(
        f"Host *\n IdentityFile {home}/.ssh/id_ed25519\n IdentitiesOnly yes\n"
        f" UserKnownHostsFile {home}/.ssh/known_hosts\n"
    )
    with suppress(OSError):  # run by root it wants this folder
        Path("/run/sshd").mkdir(exist_ok=True)
    served = folder / "served"
    served.mkdir()
    shell = f"ssh -F {folder}/ssh_config"
    # ssh(1) takes the home folder from the list of users, whatever HOME says: hence its own file of settings.
    environment = {"HOME": str(home), "RSYNC_RSH": shell, "GIT_SSH_COMMAND": shell}
    with running([sshd, "-D", "-e", "-f", str(folder / "sshd_config")], port):
        yield Host(port, served, environment, getpass.getuser())


@contextmanager
def ftps_server(folder: Path, *, plain_lists: bool = False, room_bytes: int | None = None) -> Iterator[Host]:
    """FTP that takes encrypted logins and files only, with a certificate of its own authority.

    With `plain_lists` it knows LIST only, as older hosts do; with `room_bytes` it refuses more, as a full quota does.
    """
    import trustme

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of asyncore, which it brings along where Python has none
        from pyftpdlib.authorizers import DummyAuthorizer
        from pyftpdlib.filesystems import AbstractedFS
        from pyftpdlib.handlers import TLS_FTPHandler
        from pyftpdlib.servers import ThreadedFTPServer

    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "authority.pem"))
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(folder / "host.pem"))
    served = folder / "served"
    served.mkdir()
    authorizer = DummyAuthorizer()
    authorizer.add_user("observer", PASSWORD, str(served), perm="elradfmwMT")

    class Files(AbstractedFS):  # type: ignore[misc]
        def chdir(self, path: str) -> None:
            """Its own changes the folder of the whole process for a moment, and so that of the tests."""
            with os.scandir(path):
                self.cwd = self.fs2ftp(path)

    class Handler(TLS_FTPHandler):  # type: ignore[misc]
        abstracted_fs = Files
        certfile = str(folder / "host.pem")
        tls_control_required = tls_data_required = True
        auth_failed_timeout = 0
        if plain_lists:
            proto_cmds: ClassVar = {
                key: value for key, value in TLS_FTPHandler.proto_cmds.items() if key not in ("MLSD", "MLST")
            }

        def ftp_STOR(self, file: str, mode: str = "w") -> Any:
            used = sum(path.stat().st_size for path in served.rglob("*") if path.is_file())
            if room_bytes is not None and used > room_bytes:
                self.respond("552 Exceeded storage allocation.")  # RFC 959, 4.2.1
                return None
            return super().ftp_STOR(file, mode)

    Handler.authorizer = authorizer
    server = ThreadedFTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"timeout": 0.05}, daemon=True)
    thread.start()
    try:
        yield Host(server.address[1], served, trusting(folder), Handler)
    finally:
        server.close_all()
        thread.join(10)


def trusting(folder: Path) -> dict[str, str]:
    """The environment in which the server's authority is trusted and the password known."""
    return {"SSL_CERT_FILE": str(folder / "authority.pem"), "NORTHLIMB_PASSWORD": PASSWORD, "NETRC": "/nonexistent"}


@contextmanager
def webdav_server(folder: Path) -> Iterator[Host]:
    """WebDAV with TLS, a login, and a folder."""
    import trustme
    from cheroot.ssl.builtin import BuiltinSSLAdapter
    from cheroot.wsgi import Server
    from wsgidav.wsgidav_app import WsgiDAVApp

    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "authority.pem"))
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(folder / "host.pem"))
    served = folder / "served"
    served.mkdir()
    application = WsgiDAVApp(
        {
            "provider_mapping": {"/": str(served)},
            "simple_dc": {"user_mapping": {"*": {"observer": {"password": PASSWORD}}}},
            "http_authenticator": {"accept_basic": True, "accept_digest": False, "default_to_digest": False},
            "verbose": 0,
            "logging": {"enable": False},
        }
    )
    server = Server(("127.0.0.1", 0), application, numthreads=6)
    server.ssl_adapter = BuiltinSSLAdapter(str(folder / "host.pem"), str(folder / "host.pem"))
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield Host(server.bind_addr[1], served, trusting(folder), application)
    finally:
        server.stop()
        thread.join(10)


@contextmanager
def s3_server(folder: Path) -> Iterator[Host]:
    """An object store with a bucket called ``sun``; `extra` is a client of the library's own for looking into it."""
    import boto3
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    _, port = server.get_host_and_port()
    environment = {
        "AWS_ACCESS_KEY_ID": "key",
        "AWS_SECRET_ACCESS_KEY": "secret",
        "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_EC2_METADATA_DISABLED": "true",
        "AWS_ENDPOINT_URL_S3": f"http://127.0.0.1:{port}",
    }
    client = boto3.client(
        "s3",
        endpoint_url=environment["AWS_ENDPOINT_URL_S3"],
        aws_access_key_id="key",
        aws_secret_access_key="secret",
        region_name="us-east-1",
    )
    client.create_bucket(Bucket="sun")
    try:
        yield Host(port, folder, environment, client)
    finally:
        client.close()
        server.stop()


@contextmanager
def s3_tls_server(folder: Path) -> Iterator[Host]:
    """The same behind TLS, with a certificate of its own authority."""
    import boto3
    import trustme
    from cheroot.ssl.builtin import BuiltinSSLAdapter
    from cheroot.wsgi import Server
    from moto.server import DomainDispatcherApplication, create_backend_app

    authority = trustme.CA()
    authority.cert_pem.write_to_path(str(folder / "authority.pem"))
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(folder / "host.pem"))
    server = Server(("127.0.0.1", 0), DomainDispatcherApplication(create_backend_app), numthreads=10)
    server.ssl_adapter = BuiltinSSLAdapter(str(folder / "host.pem"), str(folder / "host.pem"))
    server.prepare()
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    endpoint = f"https://127.0.0.1:{server.bind_addr[1]}"
    client = boto3.client(
        "s3",
        endpoint_url=endpoint,
        aws_access_key_id="key",
        aws_secret_access_key="secret",
        region_name="us-east-1",
        verify=str(folder / "authority.pem"),
    )
    client.create_bucket(Bucket="tls")
    environment = {
        "AWS_ACCESS_KEY_ID": "key",
        "AWS_SECRET_ACCESS_KEY": "secret",
        "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_EC2_METADATA_DISABLED": "true",
        "AWS_ENDPOINT_URL_S3": endpoint,
        "SSL_CERT_FILE": str(folder / "authority.pem"),
    }
    try:
        yield Host(server.bind_addr[1], folder, environment, client)
    finally:
        client.close()
        server.stop()
        thread.join(10)


@contextmanager
def nginx_server(folder: Path, served: Path) -> Iterator[Host]:
    """nginx serving a folder."""
    nginx, port = program("nginx", "nginx-light"), free_port()
    (folder / "nginx.conf").write_text(
        f"daemon off; pid {folder}/pid; error_log stderr; worker_processes 1;\n"
        "events { worker_connections 64; }\n"
        f"http {{ access_log off; client_body_temp_path {folder}/t1; proxy_temp_path {folder}/t2;\n"
        f"fastcgi_temp_path {folder}/t3; uwsgi_temp_path {folder}/t4; scgi_temp_path {folder}/t5;\n"
        f"server {{ listen 127.0.0.1:{port}; root {served}; }} }}\n"
    )
    # The worker of a root nginx is another user: let it look in.
    for one in (served, *served.parents):
        with suppress(OSError):
            if one.stat().st_mode & 0o055 != 0o055:
                one.chmod(one.stat().st_mode | 0o055)
    with running([nginx, "-p", str(folder), "-c", str(folder / "nginx.conf")], port):
        yield Host(port, served)


class Relay:
    """Passes connections on to a port, and cuts or refuses them when told to."""

    def __init__(self, port: int) -> None:
        self._to, self._socket = port, socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        self.cut_after_bytes: list[int] = []
        self.refusing = False
        self.connections = 0
        self._open: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._socket.accept()
            except OSError:
                return
            self.connections += 1
            if self.refusing:
                client.close()
                continue
            server = socket.create_connection(("127.0.0.1", self._to))
            limit = self.cut_after_bytes.pop(0) if self.cut_after_bytes else None
            self._open += [client, server]
            for source, sink, most in ((client, server, limit), (server, client, None)):
                threading.Thread(target=self._pass, args=(source, sink, most), daemon=True).start()

    def _pass(self, source: socket.socket, sink: socket.socket, most: int | None) -> None:
        passed = 0
        with suppress(OSError):
            while block := source.recv(4096):
                passed += len(block)
                if most is not None and passed > most:
                    break
                sink.sendall(block)
        for one in (source, sink):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        for one in (self._socket, *self._open):
            one.close()


@contextmanager
def relay(port: int) -> Iterator[Relay]:
    """A relay until the end of the block."""
    made = Relay(port)
    try:
        yield made
    finally:
        made.close()
