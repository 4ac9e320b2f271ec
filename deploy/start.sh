#!/bin/sh
# Installs Stokehold into a virtual environment and runs the demo: sh deploy/start.sh
set -u
. "$(dirname "$0")/environment.sh"
debian mosquitto mosquitto || say "going on with the Python broker"
prepare ""
exec "$venv/bin/stokehold" demo "$@"
