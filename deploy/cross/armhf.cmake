# Cross build for Debian's armhf with Debian's cross compiler (g++-arm-linux-gnueabihf), and tests under qemu-user:
#   sh deploy/cross/sysroot.sh armhf SYSROOT
#   TORPOR_SYSROOT=SYSROOT cmake -S . -B build-armhf -G Ninja -DCMAKE_TOOLCHAIN_FILE=deploy/cross/armhf.cmake
set(CMAKE_SYSTEM_NAME Linux)
set(CMAKE_SYSTEM_PROCESSOR arm)
set(CMAKE_C_COMPILER arm-linux-gnueabihf-gcc)
set(CMAKE_CXX_COMPILER arm-linux-gnueabihf-g++)
set(CMAKE_LIBRARY_ARCHITECTURE arm-linux-gnueabihf)
if(NOT IS_DIRECTORY "$ENV{TORPOR_SYSROOT}/usr/include")
  message(FATAL_ERROR "TORPOR_SYSROOT names no sysroot; make one with deploy/cross/sysroot.sh")
endif()
set(CMAKE_SYSROOT "$ENV{TORPOR_SYSROOT}")
set(CMAKE_FIND_ROOT_PATH_MODE_PROGRAM NEVER)
set(CMAKE_FIND_ROOT_PATH_MODE_LIBRARY ONLY)
set(CMAKE_FIND_ROOT_PATH_MODE_INCLUDE ONLY)
set(CMAKE_FIND_ROOT_PATH_MODE_PACKAGE ONLY)
set(ENV{PKG_CONFIG_SYSROOT_DIR} "${CMAKE_SYSROOT}")
set(ENV{PKG_CONFIG_LIBDIR}
    "${CMAKE_SYSROOT}/usr/lib/arm-linux-gnueabihf/pkgconfig:${CMAKE_SYSROOT}/usr/share/pkgconfig")
set(CMAKE_CROSSCOMPILING_EMULATOR "qemu-arm;-L;${CMAKE_SYSROOT}")
