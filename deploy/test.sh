#!/bin/sh
# Installs what the tests need and runs them all: sh deploy/test.sh [pytest arguments]
# With arguments it runs those tests alone, without the checks of form and types.
set -u
. "$(dirname "$0")/environment.sh"
need_python
need mosquitto have mosquitto
need victoria-metrics have victoria-metrics
need chromium have chromium
need libatomic1 have_file /usr/lib/*/libatomic.so.1 /usr/lib64/libatomic.so.1 # the browser's driver
need postgresql have_file /usr/lib/postgresql/*/bin/initdb
need openssl have openssl
install_packages
prepare test
cd "$root" || exit 2
status=0
if [ $# = 0 ]; then
  "$venv/bin/ruff" check . || status=1
  "$venv/bin/ruff" format --check -q . || { say "some files are not formatted: run 'ruff format .'"; status=1; }
  "$venv/bin/mypy" --no-error-summary || status=1
fi
# Many tests wait for a broker or a browser: one worker more than there are processors.
"$venv/bin/python" -m pytest -rs -n "${STOKEHOLD_TEST_WORKERS:-$(($(nproc) + 1))}" --dist worksteal "$@" || status=1
exit $status
