# The portal's image: web, worker, beat and the one-shot commands share it.
FROM python:3.11-slim-bookworm AS build
ENV PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_CACHE_DIR=1 \
    UV_COMPILE_BYTECODE=1 UV_LINK_MODE=copy UV_NO_CACHE=1
RUN pip install "uv>=0.9,<1"
WORKDIR /app
COPY pyproject.toml uv.lock ./
# Neither test tools nor embedded servers: production names its own.
RUN uv sync --no-dev --frozen

FROM python:3.11-slim-bookworm
# What WeasyPrint draws with; its fonts are the repository's own.
RUN apt-get update \
    && apt-get install -y --no-install-recommends \
        libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 \
    && rm -rf /var/lib/apt/lists/*
RUN groupadd --gid 10001 portal \
    && useradd --uid 10001 --gid 10001 --no-create-home --shell /usr/sbin/nologin portal \
    && install -d -o portal -g portal -m 0700 /srv/files
WORKDIR /app
COPY --from=build /app/.venv /app/.venv
COPY . .
RUN python -m compileall -q portal cases rules
ENV PATH=/app/.venv/bin:$PATH PYTHONUNBUFFERED=1 HOME=/tmp \
    DJANGO_SETTINGS_MODULE=portal.settings STORAGE_ROOT=/srv/files
USER 10001:10001
EXPOSE 8000
HEALTHCHECK --interval=30s --timeout=10s --start-period=30s \
    CMD ["python", "-m", "portal.healthcheck", "web"]
CMD ["gunicorn", "portal.wsgi:application", "--bind", "0.0.0.0:8000", "--worker-class", "gthread", "--workers", "2", "--threads", "4", "--worker-tmp-dir", "/dev/shm", "--no-control-socket"]
