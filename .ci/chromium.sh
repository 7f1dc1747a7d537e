#!/bin/sh
# See that there is a Chromium for the browser tests; where there is none and none can be had, say so in one sentence.
# The tests marked `browser` then fail with that sentence: they are never passed over in silence.
set -u

for name in chromium chromium-browser google-chrome; do
    command -v "$name" >/dev/null && exit 0
done

say() {
    echo "The browser tests need Chromium, and it could not be installed here; run 'sudo apt-get install chromium' and then make test again." >&2
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
echo "Installing Chromium for the browser tests ..."
$as_root apt-get update -qq >/dev/null 2>&1
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null 2>&1 || say
command -v chromium >/dev/null || say
