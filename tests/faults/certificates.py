"""Throw-away authorities and certificates, made with openssl(1)."""
import subprocess

KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
CONFIGURATION = """
[ca]
default_ca = here
[here]
database = index.txt
new_certs_dir = .
serial = serial
default_md = sha256
policy = any
unique_subject = no
x509_extensions = names
[any]
commonName = supplied
[names]
subjectAltName = DNS:{host}
"""


def openssl(folder, *words):
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True, stdin=subprocess.DEVNULL)


class Authority:
    def __init__(self, folder, name):
        self.folder = folder / name
        self.folder.mkdir()
        (self.folder / "index.txt").touch()
        (self.folder / "serial").write_text("1000")
        self.file = self.folder / "authority.pem"
        openssl(self.folder, "req", "-x509", *KEY, "-keyout", "authority.key", "-out", "authority.pem", "-days", "30",
                "-subj", f"/CN={name}")

    def issue(self, name, host="localhost", start="20200101000000Z", end="20490101000000Z"):
        """Paths of a certificate and its key; dates as openssl-ca(1) takes them."""
        (self.folder / "configuration").write_text(CONFIGURATION.format(host=host))
        openssl(self.folder, "req", *KEY, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={host}")
        openssl(self.folder, "ca", "-batch", "-notext", "-config", "configuration", "-cert", "authority.pem",
                "-keyfile", "authority.key", "-in", f"{name}.csr", "-out", f"{name}.pem", "-startdate", start,
                "-enddate", end)
        return self.folder / f"{name}.pem", self.folder / f"{name}.key"
