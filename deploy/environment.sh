# Sourced by start.sh and test.sh: the Debian packages they need, then a virtual environment
# beside this folder with exact versions. What is there already is left alone.

root=$(cd "$(dirname "$0")/.." && pwd) || exit 2
venv=${STOKEHOLD_VENV:-$root/.venv}
missing=

# Programs started over and over, as the tests do, are to find what they compiled before.
unset PYTHONDONTWRITEBYTECODE

say() { printf '%s\n' "$*" >&2; }
give_up() { say "$@"; exit 2; }
trap 'say "stopped; run the same command again to go on"; exit 130' INT

have() { PATH="$PATH:/usr/sbin:/usr/local/sbin" command -v "$1" >/dev/null 2>&1; }
have_file() { for found in "$@"; do [ -e "$found" ] && return 0; done; return 1; }
makes_environments() { "$(find_python)" -c 'import ensurepip, venv' 2>/dev/null; }

# need PACKAGE CHECK...: note the Debian package as missing unless the check holds
need() {
  package=$1
  shift
  "$@" || missing="$missing $package"
}

need_python() {
  need python3 have python3
  need python3-venv makes_environments
}

# install_packages: what `need` noted, at once
install_packages() {
  [ -n "$missing" ] || return 0
  if ! have apt-get; then
    give_up "These are missing:$missing. Install what your system calls so, and run this again."
  fi
  if [ "$(id -u)" != 0 ]; then
    give_up "These are missing:$missing. Ask an administrator: sudo apt-get install$missing"
  fi
  say "Installing Debian packages:$missing (a minute or two) ..."
  log=$(mktemp) || exit 2
  if ! { apt-get update && DEBIAN_FRONTEND=noninteractive \
    apt-get install -y --no-install-recommends $missing; } </dev/null >"$log" 2>&1; then
    grep -E '^(E|Err|W):' "$log" | tail -n 8 >&2
    rm -f "$log"
    say "The lines above are apt-get's own. Debian packages could not be installed:$missing."
    give_up "Check the network and /etc/apt/sources.list, then run this again."
  fi
  rm -f "$log"
}

find_python() {
  for name in python3 python3.14 python3.13 python3.12 python3.11; do
    if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      printf '%s' "$name"
      return 0
    fi
  done
  return 1
}

# prepare EXTRAS: make the environment, or mend one that broke half-way, and install into it.
# A stamp stands for a whole installation of just this: it is written last, and trusted only
# while the program loads.
prepare() {
  python=$(find_python) || give_up \
    "Stokehold needs Python 3.11 or newer; $(python3 --version 2>&1) is here. Debian 12 has it."
  stamp="$venv/installed-$( { cat "$root/pyproject.toml" "$root/deploy/constraints.txt"
    printf '%s' "$root"; } | cksum | tr -d ' ')"
  [ -e "$stamp-$1" ] && loads && return 0
  if ! have_file "$venv"/installed-* || ! loads; then
    say "Making a Python environment in $venv (half a minute) ..."
    "$python" -m venv --clear "$venv" >&2 || give_up \
      "No virtual environment can be made in $venv; the lines above say why."
  fi
  rm -f "$venv"/installed-*
  say "Installing Python packages into it (some 600 MB on disk, one to four minutes) ..."
  install "$1"
  loads || give_up "Stokehold does not load after its installation; see $venv/install.log"
  : >"$stamp-"
  : >"$stamp-$1"
}

loads() { (cd / && "$venv/bin/python" -c 'import dashboard.cli') 2>/dev/null; }

# install EXTRAS: pip, with a line of its progress; bytecode is made when a module is first used
install() {
  shown=lines
  [ -t 2 ] && shown=terminal
  { "$venv/bin/python" -m pip install --no-compile --progress-bar off --disable-pip-version-check \
    -c "$root/deploy/constraints.txt" -e "$root${1:+[$1]}" 2>&1
    echo "exit $?"
  } </dev/null | awk -v file="$venv/install.log" -v shown="$shown" '
    function tell(words) {
      if (shown == "terminal") printf "\r\033[K  %s", words > "/dev/stderr"
      else print "  " words > "/dev/stderr"
    }
    /^exit / { status = $2; next }
    { print > file; fflush(file) }
    /^ERROR|^error:/ { wrong = wrong "\n" $0 }
    /^Collecting / { fetched++; if (shown == "terminal" || fetched % 20 == 0) tell(fetched " packages fetched") }
    /^Installing collected/ { tell(fetched " packages fetched, unpacking them") }
    END {
      if (shown == "terminal") printf "\r\033[K" > "/dev/stderr"
      if (status != 0) print "pip could not install:" wrong > "/dev/stderr"
      exit status != 0
    }' || give_up "Check the network and the free disk space ($venv/install.log tells all), then run this again."
}
