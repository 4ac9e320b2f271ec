#!/bin/sh
# Installs what the tests need and runs them all: sh deploy/test.sh [pytest arguments]
set -u
. "$(dirname "$0")/environment.sh"
debian mosquitto mosquitto
debian victoria-metrics victoria-metrics
debian chromium chromium
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || debian postgresql initdb
debian openssl openssl
prepare test
cd "$root" || exit 2
status=0
"$venv/bin/ruff" check . || status=1
"$venv/bin/ruff" format --check -q . || { say "some files are not formatted: run 'ruff format .'"; status=1; }
"$venv/bin/mypy" --no-error-summary || status=1
# Many tests wait for a broker or a browser: one worker more than there are processors.
"$venv/bin/python" -m pytest -rs -n "${STOKEHOLD_TEST_WORKERS:-$(($(nproc) + 1))}" --dist worksteal "$@" || status=1
exit $status
