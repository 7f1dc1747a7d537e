#!/bin/sh
# See that there is a Chromium for the browser tests, and certutil to tell it which authority to trust; where there is
# none and none can be had, say so in one sentence. The tests marked `browser` then fail with that sentence: they are
# never passed over in silence.
set -u

browser() {
    for name in chromium chromium-browser google-chrome; do
        command -v "$name" >/dev/null && return 0
    done
    return 1
}

wanted=
browser || wanted="chromium"
command -v certutil >/dev/null || wanted="$wanted libnss3-tools"
[ -z "$wanted" ] && exit 0

say() {
    echo "The browser tests need Chromium and certutil, which could not be installed here; run 'sudo apt-get install chromium libnss3-tools' and then make test again." >&2
    exit 0
}

command -v apt-get >/dev/null || say
if [ "$(id -u)" = 0 ]; then
    as_root=
elif command -v sudo >/dev/null && { [ -t 0 ] || sudo -n true 2>/dev/null; }; then
    as_root=sudo
else
    say
fi
echo "Installing$(printf ' %s' $wanted) for the browser tests ..."
$as_root apt-get update -qq >/dev/null 2>&1
# shellcheck disable=SC2086 - several packages
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $wanted >/dev/null 2>&1 || say
browser && command -v certutil >/dev/null || say
