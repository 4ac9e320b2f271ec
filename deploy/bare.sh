#!/bin/sh
# Proves the README's two commands on a machine nobody has touched: sh deploy/bare.sh
#
# Builds a minimal Debian with debootstrap in a temporary folder, puts the last commit into it, and
# runs deploy/bare_inside.py there. Package sources, proxies, certificates and pip's settings are
# this machine's own, read now; none is written down. Needs root. The empty root and pip's downloads
# are kept in STOKEHOLD_BARE_CACHE (~/.cache/stokehold-bare), STOKEHOLD_BARE_SUITE names another
# release than this machine's.
set -eu
repo=$(cd "$(dirname "$0")/.." && pwd)
cache=${STOKEHOLD_BARE_CACHE:-${HOME:-/root}/.cache/stokehold-bare}
packages=python3

say() { printf 'bare: %s\n' "$*" >&2; }
give_up() {
  say "NOT CHECKED: whether the program starts on a bare machine."
  say "$@"
  exit 2
}

[ "$(id -u)" = 0 ] || give_up "A root of its own can only be built by root: run it with sudo."
command -v apt-get >/dev/null || give_up "This machine has no apt-get to take package sources from."
if ! command -v debootstrap >/dev/null; then
  say "installing debootstrap"
  { apt-get update && apt-get install -y --no-install-recommends debootstrap; } >/dev/null 2>&1 ||
    give_up "debootstrap is missing and cannot be installed: see 'apt-get install debootstrap'."
fi

here=$(. /etc/os-release && printf '%s' "${VERSION_CODENAME:-}")
suite=${STOKEHOLD_BARE_SUITE:-$here}
sources=$(apt-get indextargets --format '$(SITE) $(RELEASE) $(COMPONENT)' "Created-By: Packages" |
  sort -u | awk -v here="$here" -v suite="$suite" '
    $3 == "main" && $2 ~ "^" here "(-updates|-security)?$" { sub(here, suite, $2); print }')
mirror=$(printf '%s\n' "$sources" | awk -v suite="$suite" '$2 == suite && $1 ~ /debian\/?$/ { print $1; exit }')
[ -n "$mirror" ] || give_up "This machine's apt sources name no Debian archive for '$suite'."

mkdir -p "$cache/pip"
work=$(mktemp -d "${TMPDIR:-/tmp}/stokehold-bare.XXXXXX")
trap 'rm -rf --one-file-system "$work"' EXIT
trap 'exit 130' INT TERM
root=$work/root
kept="$cache/$suite-$(printf '%s' "$packages $mirror" | cksum | tr -d ' ').tar"
if [ ! -e "$kept" ]; then
  say "building a minimal Debian $suite with $packages (some minutes, once)"
  debootstrap --variant=minbase --include="$packages" "$suite" "$root" "$mirror" >"$work/log" 2>&1 || {
    tail -n 15 "$work/log" >&2
    give_up "debootstrap failed; the lines above say why."
  }
  tar -C "$root" --exclude=./proc/* -cf "$kept.part" . && mv "$kept.part" "$kept"
  rm -rf --one-file-system "$root"
fi
mkdir -p "$root"
tar -C "$root" -xf "$kept"

# this machine's own settings
printf '%s\n' "$sources" | sed 's/^/deb /' >"$root/etc/apt/sources.list"
apt-config dump 2>/dev/null | grep -iE '^Acquire::(https?|ftp)::' >"$root/etc/apt/apt.conf.d/90outside" || true
for file in /etc/resolv.conf /etc/hosts /etc/ssl/certs/ca-certificates.crt /etc/pip.conf; do
  [ -e "$file" ] && mkdir -p "$root$(dirname "$file")" && cat "$file" >"$root$file"
done
[ -d /usr/local/share/ca-certificates ] && cp -R /usr/local/share/ca-certificates "$root/usr/local/share/"
for file in "${HOME:-/root}/.config/pip/pip.conf" "${HOME:-/root}/.pip/pip.conf"; do
  [ -e "$file" ] && cat "$file" >"$root/etc/pip-of-user.conf"
done
export -p | grep -E '^export (https?_proxy|HTTPS?_PROXY|no_proxy|NO_PROXY|PIP_[A-Z_]*|SSL_CERT_[A-Z]*|REQUESTS_CA_BUNDLE|CURL_CA_BUNDLE)=' \
  >"$root/etc/outside.sh" || true
index=${PIP_INDEX_URL:-${UV_DEFAULT_INDEX:-${UV_INDEX_URL:-}}}
[ -z "$index" ] || printf "export PIP_INDEX_URL='%s'\n" "$index" >>"$root/etc/outside.sh"
[ ! -e "$root/etc/pip-of-user.conf" ] || echo 'export PIP_CONFIG_FILE=/etc/pip-of-user.conf' >>"$root/etc/outside.sh"
echo 'export PIP_CACHE_DIR=/var/cache/pip STOKEHOLD_NEEDS_ALL=1 LANG=C.UTF-8' >>"$root/etc/outside.sh"

# the commit, twice: for root, and for an ordinary user in a path with a space
for folder in root/stokehold "home/warden/the house"; do
  mkdir -p "$root/$folder"
  git -C "$repo" archive HEAD | tar -C "$root/$folder" -xf -
done

# Processes and mounts of their own end with it; where the kernel allows none, it goes without.
say "running the README's commands in it"
mkdir -p "$root/var/cache/pip"
apart="unshare --mount --pid --fork --kill-child"
$apart true 2>/dev/null || apart=
status=0
BARE_ROOT=$root BARE_PIP=$cache/pip $apart sh -euc '
  mount -t proc proc "$BARE_ROOT/proc" 2>/dev/null || echo "bare: no /proc in it" >&2
  mount -t tmpfs -o mode=1777 tmpfs "$BARE_ROOT/dev/shm" 2>/dev/null || mkdir -p "$BARE_ROOT/dev/shm"
  mount --bind "$BARE_PIP" "$BARE_ROOT/var/cache/pip" 2>/dev/null || cp -R "$BARE_PIP/." "$BARE_ROOT/var/cache/pip/"
  exec env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root TERM=dumb chroot "$BARE_ROOT" \
    sh -c ". /etc/outside.sh && exec python3 /root/stokehold/deploy/bare_inside.py"' || status=$?
if [ -z "$apart" ]; then
  cp -R "$root/var/cache/pip/." "$cache/pip/"
  umount "$root/proc" "$root/dev/shm" "$root/var/cache/pip" 2>/dev/null || true
fi
[ "$status" = 0 ] && say "passed" || say "FAILED"
exit "$status"
