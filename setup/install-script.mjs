/**
 * The shell script that installs packages through apt, as root; the packages are its arguments.
 *
 * Debian's packages of Redis and Valkey start a server of their own on port 6379 and at every boot. Rushlight runs a
 * private one without a port and wants no other, so the start is refused while this install runs, in the way that
 * Debian provides (invoke-rc.d(8): a policy file that answers 101), for these two names only, and the unit that the
 * install enabled is disabled. A policy file that stands already is its owner's and is left as it is.
 */
export function installScript(policyFile) {
  return `
set -e
export DEBIAN_FRONTEND=noninteractive LC_ALL=C
policy='${policyFile}'
if [ ! -e "$policy" ]; then
  trap 'rm -f "$policy"' EXIT
  trap 'exit 130' INT
  trap 'exit 143' TERM
  printf '%s\\n' '#!/bin/sh' 'case "$1" in redis-server*|valkey-server*) exit 101 ;; esac' 'exit 0' > "$policy"
  chmod 755 "$policy"
fi
known() { apt-cache policy "$1" | grep -q 'Candidate: [^(]'; }
# What goes well is long and of no interest; what goes wrong is on stderr.
update() { apt-get -qq update >/dev/null; }
install() { apt-get -qq install -y --no-install-recommends "$@" >/dev/null; }
for name in "$@"; do known "$name" || { update; break; }; done
wanted=
for name in "$@"; do
  if [ "$name" = redis-server ] && ! known redis-server && known valkey-server; then name=valkey-server; fi
  wanted="$wanted $name"
done
# A list that is out of date names files that are no longer there.
install $wanted || { update && install $wanted; }
if [ -d /run/systemd/system ]; then
  for unit in redis-server valkey-server; do
    case " $wanted " in *" $unit "*) systemctl disable --quiet "$unit" || echo "could not disable the unit $unit; it will start with the machine" ;; esac
  done
fi
`;
}
