#!/bin/sh
# Installs the servers that the tests start themselves, if any is missing, and makes sure that
# none of them is left running as a system service.
set -eu

missing=""
need() { command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] || missing="$missing $2"; }
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need influxd influxdb
need victoria-metrics victoria-metrics
need socat socat
need ser2net ser2net
need chromium chromium
need openssl openssl
need groff groff-base
need systemd-analyze systemd

if [ -n "$missing" ]; then
    as_root=""
    [ "$(id -u)" = 0 ] || as_root="sudo"
    $as_root apt-get update -qq
    # shellcheck disable=SC2086  # a list of package names
    DEBIAN_FRONTEND=noninteractive $as_root apt-get install -y -qq --no-install-recommends $missing
    if [ -d /run/systemd/system ]; then
        for unit in mosquitto influxdb victoria-metrics ser2net; do
            $as_root systemctl disable --now "$unit" 2>/dev/null || true
        done
    fi
fi
