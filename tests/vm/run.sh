#!/usr/bin/env bash
# The stories that need CAN interfaces, in a small virtual machine: the kernel of this computer may have none.
# `bash tests/vm/run.sh` builds, boots and tells every story; a missing part is an error, never a skip.
set -euo pipefail
cd "$(dirname "$0")/../.."
vm=$PWD/target/vm
mkdir -p "$vm"

missing() { echo "vm: $1 is missing and could not be installed: apt-get install $2" >&2; exit 1; }
install() { apt-get install -y -qq --no-install-recommends "$1" >/dev/null 2>&1; }
for pair in qemu-system-x86_64:qemu-system-x86 cpio:cpio busybox:busybox-static strace:strace; do
    command -v "${pair%%:*}" >/dev/null && continue
    install "${pair##*:}" || { apt-get update -qq && install "${pair##*:}"; } || missing "${pair%%:*}" "${pair##*:}"
done
busybox=$(command -v busybox)
if ldd "$busybox" >/dev/null 2>&1; then echo "vm: $busybox is not static: apt-get install busybox-static" >&2; exit 1; fi

# The kernel and its modules: unpacked, not installed.
package_of() { apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/.*Depends: //p' | head -n 1; }
package=$(cat "$vm/kernel/package" 2>/dev/null || true)
if [[ -z $package ]]; then
    package=$(package_of)
    [[ -n $package ]] || { apt-get update -qq; package=$(package_of); }
    [[ -n $package ]] || missing "a kernel with CAN" linux-image-amd64
    rm -rf "$vm/kernel" "$vm/unpacked"
    mkdir -p "$vm/kernel" "$vm/unpacked"
    (cd "$vm/unpacked" && apt-get download -qq "$package" 2>/dev/null && dpkg-deb -x ./*.deb . && rm ./*.deb)
    cp "$vm"/unpacked/boot/vmlinuz-* "$vm/kernel/vmlinuz"
    for module in can can-raw can-dev vcan sja1000 kvaser_pci; do
        find "$vm/unpacked/lib/modules" -name "$module.ko" -exec cp {} "$vm/kernel/" \;
        [[ -e $vm/kernel/$module.ko ]] || { echo "vm: $package has no module $module" >&2; exit 1; }
    done
    rm -rf "$vm/unpacked"
    echo "$package" >"$vm/kernel/package"
fi

# The program and the stories, static.
RUSTFLAGS="-C target-feature=+crt-static" cargo build --quiet --locked --target x86_64-unknown-linux-gnu \
    --target-dir "$vm/build" --bin cellwright --example vm_stories
built=$vm/build/x86_64-unknown-linux-gnu/debug

root=$vm/root
rm -rf "$root"
mkdir -p "$root"/{bin,dev,proc,sys,tmp,modules,etc}
cp "$busybox" "$root/bin/busybox"
cp "$built/cellwright" "$built/examples/vm_stories" "$root/bin/"
cp "$vm"/kernel/*.ko "$root/modules/"
cp "$(command -v strace)" "$root/bin/"
for library in $(ldd "$(command -v strace)" | grep -o '/[^ )]*'); do
    mkdir -p "$root$(dirname "$library")"
    cp -L "$library" "$root$library"
done
printf 'root:x:0:0::/:/bin/sh\nnobody:x:65534:65534::/:/bin/sh\n' >"$root/etc/passwd"
cat >"$root/init" <<'INIT'
#!/bin/busybox sh
/bin/busybox mkdir -p /bin /proc /sys /dev /tmp
/bin/busybox --install -s /bin
export PATH=/bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
mkdir -p /dev/pts
mount -t devpts devpts /dev/pts
mount -t tmpfs tmp /tmp
chmod 1777 /tmp
for module in can can-raw can-dev vcan sja1000 kvaser_pci; do
    insmod /modules/$module.ko || echo "no module $module"
done
vm_stories
sync
poweroff -f
INIT
chmod +x "$root/init"
(cd "$root" && find . | cpio --quiet -o -H newc | gzip -1) >"$vm/initrd.gz"

log=$vm/console.log
timeout "${VM_SECONDS:-600}" qemu-system-x86_64 -accel tcg,thread=multi -cpu max -smp 2 -m 768 -nographic -no-reboot \
    -net none -kernel "$vm/kernel/vmlinuz" -initrd "$vm/initrd.gz" -append "console=ttyS0 panic=-1 quiet" \
    -object can-bus,id=bus0 -device kvaser_pci,canbus=bus0 -device kvaser_pci,canbus=bus0 \
    </dev/null >"$log" 2>&1 || true # its exit code says nothing: the line below counts

tr -d '\r' <"$log" | sed -n 's/^.*STORY: /vm: /p'
if last=$(tr -d '\r' <"$log" | grep -o 'STORIES: [1-9][0-9]* told, 0 failed'); then
    echo "vm: ${last#STORIES: }"
else
    echo "vm: failed; the end of the console:" >&2
    tr -d '\r' <"$log" | tail -n 80 >&2
    exit 1
fi
