"""A FHIR endpoint that misbehaves as a row wants: it stands before the practice endpoint and passes on what it
likes. What was really done is always seen at the practice endpoint."""
import http.client
import socket
import ssl
import struct
import threading

SILENCE_MAX_S = 60
READ_BYTES = 65536


class Talk:
    """One request, and the connection that it came on."""

    def __init__(self, peer, connection, number, head, body):
        self.peer, self.connection, self.number, self.head, self.body = peer, connection, number, head, body
        self.method, self.target = head.split(b" ", 2)[:2]

    def fields(self):
        """Name in lower case and value of every field."""
        lines = self.head.decode("latin-1").split("\r\n")[1:]
        return {name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines) if name}

    def relay(self):
        """Has the practice endpoint do it; the whole answer as bytes."""
        behind = http.client.HTTPConnection("127.0.0.1", self.peer.endpoint_port, timeout=SILENCE_MAX_S)
        kept = {name: value for name, value in self.fields().items()
                if name not in ("host", "content-length", "connection")}
        behind.request(self.method.decode(), self.target.decode(), self.body or None, kept)
        answer = behind.getresponse()
        body = answer.read()
        head = f"HTTP/1.1 {answer.status} {answer.reason}\r\n"
        for name, value in answer.getheaders():
            if name.lower() not in ("content-length", "connection"):
                head += f"{name}: {value}\r\n"
        behind.close()
        return head.encode() + b"Content-Length: %d\r\n\r\n" % len(body) + body

    def send(self, data):
        self.connection.sendall(data)
        return True

    def answer(self):
        """As a good endpoint."""
        return self.send(self.relay())

    def reset(self):
        """Closes with RST instead of FIN."""
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self.connection.close()

    def wait_for_end(self):
        """Says nothing until the other side has had enough."""
        self.connection.settimeout(SILENCE_MAX_S)
        while self.connection.recv(READ_BYTES):
            pass


def answer(status, content_type, body, more=""):
    """The bytes of an answer with its length."""
    body = body if isinstance(body, bytes) else body.encode()
    return (f"HTTP/1.1 {status} Practice\r\nContent-Type: {content_type}\r\n{more}"
            f"Content-Length: {len(body)}\r\n\r\n").encode() + body


def honest(talk):
    return talk.answer()


def at_first(count, bad):
    """`bad` for the first `count` posts, honest afterwards."""
    return lambda talk: bad(talk) if talk.number <= count else talk.answer()


class Greeting:
    """In the place of an ssl context: these bytes to whoever connects, and nothing else."""

    def __init__(self, data):
        self.data = data

    def wrap_socket(self, connection, server_side):
        connection.sendall(self.data)
        while server_side and connection.recv(READ_BYTES):
            pass
        raise OSError("nothing else")


class Peer:
    """`manner` gets the Talk of each POST and returns whether the connection goes on; other requests are passed
    on. `tls`: an ssl context; it and `manner` may be replaced at any time."""

    def __init__(self, port, endpoint_port, manner=honest, tls=None, host="127.0.0.1"):
        self.host, self.port, self.endpoint_port = host, port, endpoint_port
        self.manner, self.tls = manner, tls
        self.posts = self.connections = 0
        self.heads = []
        self.handshake_failures = []
        self.lock = threading.Lock()
        self.listener = None

    def open(self):
        self.listener = socket.socket()
        self.listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.listener.bind((self.host, self.port))
        self.listener.listen(128)
        threading.Thread(target=self.accept, args=(self.listener,), daemon=True).start()
        return self

    def close(self):
        if self.listener:
            self.listener.shutdown(socket.SHUT_RDWR)
            self.listener.close()
        self.listener = None

    def accept(self, listener):
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            self.connections += 1
            threading.Thread(target=self.welcome, args=(connection,), daemon=True).start()

    def welcome(self, connection):
        try:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            connection.settimeout(SILENCE_MAX_S)
            if self.tls:
                try:
                    connection = self.tls.wrap_socket(connection, server_side=True)
                except (ssl.SSLError, OSError) as error:
                    self.handshake_failures.append(str(error))
                    return
            self.converse(connection)
        except OSError:
            pass  # the other side went away, which is its right
        finally:
            connection.close()

    def converse(self, connection):
        unread = b""
        goes_on = True
        while goes_on:
            while b"\r\n\r\n" not in unread:
                more = connection.recv(READ_BYTES)
                if not more:
                    return
                unread += more
            head, _, unread = unread.partition(b"\r\n\r\n")
            length = next((int(line.split(b":")[1]) for line in head.split(b"\r\n")
                           if line.lower().startswith(b"content-length:")), 0)
            while len(unread) < length:
                more = connection.recv(READ_BYTES)
                if not more:
                    return
                unread += more
            body, unread = unread[:length], unread[length:]
            is_post = head.startswith(b"POST ")
            with self.lock:
                self.posts += is_post
                number = self.posts
                self.heads.append(head.decode("latin-1"))
            talk = Talk(self, connection, number, head, body)
            goes_on = self.manner(talk) if is_post else talk.answer()
