# Cross build for Debian's arm64 with Debian's cross compiler (g++-aarch64-linux-gnu), and tests under qemu-user:
#   sh deploy/cross/sysroot.sh arm64 SYSROOT
#   TORPOR_SYSROOT=SYSROOT cmake -S . -B build-arm64 -G Ninja -DCMAKE_TOOLCHAIN_FILE=deploy/cross/arm64.cmake
set(CMAKE_SYSTEM_PROCESSOR aarch64)
set(torpor_machine aarch64-linux-gnu)
set(torpor_emulator qemu-aarch64)
include(${CMAKE_CURRENT_LIST_DIR}/debian.cmake)
