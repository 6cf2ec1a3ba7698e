# Cross build for Debian's armhf with Debian's cross compiler (g++-arm-linux-gnueabihf), and tests under qemu-user:
#   sh deploy/cross/sysroot.sh armhf SYSROOT
#   TORPOR_SYSROOT=SYSROOT cmake -S . -B build-armhf -G Ninja -DCMAKE_TOOLCHAIN_FILE=deploy/cross/armhf.cmake
set(CMAKE_SYSTEM_PROCESSOR arm)
set(torpor_machine arm-linux-gnueabihf)
set(torpor_emulator qemu-arm)
include(${CMAKE_CURRENT_LIST_DIR}/debian.cmake)
