# Sourced by start.sh and test.sh: a virtual environment beside this folder, with exact versions.
# Works on Debian 12 with Python 3.11; as root it installs the Debian packages it needs.

root=$(cd "$(dirname "$0")/.." && pwd)
venv=${STOKEHOLD_VENV:-$root/.venv}

# Programs started over and over, as the tests do, are to find what they compiled before.
unset PYTHONDONTWRITEBYTECODE

say() { printf '%s\n' "$*" >&2; }

# debian PACKAGE PROGRAM: have PROGRAM, installing PACKAGE where we may
debian() {
  PATH="$PATH:/usr/sbin" command -v "$2" >/dev/null 2>&1 && return 0
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    say "installing $1"
    [ -n "$updated" ] || { apt-get update -qq >&2 || true; updated=1; }
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$1" >/dev/null 2>&1 && return 0
    say "$1 could not be installed; see 'apt-get install $1'"
    return 1
  fi
  say "$2 is missing: ask an administrator for 'apt-get install $1'"
  return 1
}

find_python() {
  for name in python3 python3.13 python3.12 python3.11; do
    if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      printf '%s' "$name"
      return 0
    fi
  done
  say "Python 3.11 or newer is missing: apt-get install python3 python3-venv"
  exit 2
}

# prepare EXTRAS: make the environment and install the project with its extras
prepare() {
  if [ ! -x "$venv/bin/python" ]; then
    python=$(find_python) || exit 2
    if ! "$python" -m venv "$venv" >/dev/null 2>&1; then
      rm -rf "$venv"
      debian python3-venv pyvenv || true
      "$python" -m venv "$venv" || { say "no virtual environment can be made: apt-get install python3-venv"; exit 2; }
    fi
  fi
  stamp="$venv/installed-$(cat "$root/pyproject.toml" "$root/deploy/constraints.txt" | cksum | tr -d ' ')-$1"
  [ -e "$stamp" ] && return 0
  say "installing Stokehold into ${venv#"$root"/} (a few minutes the first time)"
  "$venv/bin/python" -m pip install -q --disable-pip-version-check \
    -c "$root/deploy/constraints.txt" -e "$root${1:+[$1]}" >"$venv/install.log" 2>&1 || {
    tail -n 20 "$venv/install.log" >&2
    say "installation failed; the lines above say why"
    exit 2
  }
  touch "$stamp"
}
