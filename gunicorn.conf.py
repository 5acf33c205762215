"""How gunicorn serves the studio; the variables are listed in README.md."""

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

from django.conf import settings

wsgi_app = "studio.wsgi"
bind = settings.BIND
workers = settings.WORKERS
threads = settings.THREADS
timeout = 60
umask = 0o077
max_requests = 2000
max_requests_jitter = 200
pidfile = str(settings.DATA_DIR / "serving.pid")
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None
loglevel = "warning"


def when_ready(server: object) -> None:
    """Say where the studio is once it answers."""
    scheme = "https" if settings.HTTPS else "http"
    where = settings.ALLOWED_HOSTS[0] if settings.HTTPS else bind
    print(f"Passagework answers at {scheme}://{where}/ (data in {settings.DATA_DIR}). Stop it with Ctrl+C.", flush=True)
    if not settings.HTTPS and not bind.startswith(("127.", "[::1]", "localhost", "unix:")):
        print("Passwords cross the network unencrypted this way: put an HTTPS proxy in front (README.md).", flush=True)
