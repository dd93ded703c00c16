#!/bin/sh
# One image, four parts: web, worker, scheduler, migrate. `.ci/run` starts the same parts without an engine.
set -eu
PATH="${RILLBOOK_BIN:-/opt/venv/bin}:$PATH"
case "${1:-web}" in
migrate)
    python manage.py migrate --noinput
    ;;
web)
    python manage.py collectstatic --noinput --verbosity 0
    exec gunicorn config.wsgi --bind "${RILLBOOK_BIND:-0.0.0.0:8000}" --workers "${RILLBOOK_WORKERS:-2}" \
        --threads 4 --worker-class gthread --timeout 120 --access-logfile /dev/null
    ;;
worker)
    exec celery --app config worker --loglevel warning --concurrency "${RILLBOOK_WORKERS:-2}"
    ;;
scheduler)
    exec celery --app config beat --loglevel warning --schedule "${RILLBOOK_DATA_DIR:-/data}/celerybeat"
    ;;
*)
    exec "$@"
    ;;
esac
