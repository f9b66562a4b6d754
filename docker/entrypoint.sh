#!/bin/sh
# What this container is: web, worker, beat, or migrate (once, as the owner of the tables). Anything else is a
# command of manage.py, such as: verify_ledger, or: backup /backups/FILE.
set -eu
cd "$(dirname "$0")/.."

what="${1:-web}"
[ "$#" -eq 0 ] || shift
case "$what" in
web)
    exec gunicorn --config docker/gunicorn.conf.py training.config.wsgi "$@"
    ;;
worker)
    exec celery --quiet --app training.config.celery worker --loglevel INFO --concurrency "${WORKER_CONCURRENCY:-2}" "$@"
    ;;
beat)
    # Where it was is no matter: the database knows what is due, and a tick is a minute away.
    exec celery --quiet --app training.config.celery beat --loglevel INFO --pidfile= "$@"
    ;;
migrate)
    python -m training.management migrate --no-input
    python -m training.management rights "${DATABASE_ROLE:?the name of the role that web, worker and beat use}"
    exec python -m training.management check --deploy --tag security --tag database --database default --fail-level WARNING
    ;;
*)
    exec python -m training.management "$what" "$@"
    ;;
esac
