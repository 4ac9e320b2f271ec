#!/bin/sh
# Installs Stokehold into a virtual environment and runs the demo: sh deploy/start.sh
set -u
. "$(dirname "$0")/environment.sh"
need_python
need mosquitto have mosquitto
install_packages
prepare ""
exec "$venv/bin/python" -m dashboard demo "$@"
