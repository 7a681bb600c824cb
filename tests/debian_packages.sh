#!/bin/sh
# Brings the programs that some tests need: a browser, a broker, PDF tools. Never asks for a password.
# Elsewhere than on Debian, or without the right to install, it says what to run and which tests are left out.
set -u

missing=""
command -v chromium >/dev/null 2>&1 || missing="$missing chromium"
command -v mosquitto >/dev/null 2>&1 || [ -x /usr/sbin/mosquitto ] || missing="$missing mosquitto"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
[ -z "$missing" ] && exit 0

install="apt-get install -y --no-install-recommends$missing"
root=""
if command -v apt-get >/dev/null 2>&1; then
    if [ "$(id -u)" = 0 ]; then
        root="env"
    elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
        root="sudo -n"
    fi
fi
if [ -n "$root" ]; then
    echo "Installing for the tests:$missing"
    export DEBIAN_FRONTEND=noninteractive
    $root apt-get update -qq && $root $install -qq >/dev/null && exit 0
fi

echo "These are missing:$missing. To bring them: sudo apt-get update && sudo $install"
for package in $missing; do
    case $package in
        chromium) echo "Left out without chromium: the tests marked browser (pages at phone and desk size)." ;;
        mosquitto) echo "Left out without mosquitto: the tests marked broker (rig and desk over a real broker)." ;;
        postgresql) echo "Left out without postgresql: the tests marked postgresql (the store on a server)." ;;
        poppler-utils) echo "Left out without poppler-utils: the tests marked poppler (the paper as a picture)." ;;
    esac
done
[ "${CI:-}" = "true" ] && exit 1
exit 0
