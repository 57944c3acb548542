#!/bin/sh
# Installs the packages of apt-packages.txt that are missing, and says which.
set -eu
list=$(dirname "$0")/apt-packages.txt

if ! command -v dpkg-query >/dev/null 2>&1; then
	echo "setup: not a Debian system; the tests use the programs of these packages, install them by hand:" >&2
	sed '/^#/d; s/^/  /' "$list" >&2
	exit 0
fi

missing=
for package in $(sed '/^#/d' "$list" | awk 'NF { print $1 }'); do
	status=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || true)
	[ "$status" = installed ] || missing="$missing $package"
done
if [ -z "$missing" ]; then
	echo "setup: nothing to install"
	exit 0
fi

root=
if [ "$(id -u)" -ne 0 ]; then
	command -v sudo >/dev/null 2>&1 || {
		echo "setup: root or sudo is needed to install:$missing" >&2
		exit 1
	}
	root="sudo"
fi
echo "setup: installing with apt-get:$missing"
$root apt-get -qq update || $root apt-get -qq update
# shellcheck disable=SC2086 # a list of words
$root env DEBIAN_FRONTEND=noninteractive apt-get -qq -y --no-install-recommends install $missing >/dev/null </dev/null
echo "setup: installed"
