# Cross build for Debian's arm64 with Debian's cross compiler (g++-aarch64-linux-gnu), and tests under qemu-user:
#   sh deploy/cross/sysroot.sh arm64 SYSROOT
#   TORPOR_SYSROOT=SYSROOT cmake -S . -B build-arm64 -G Ninja -DCMAKE_TOOLCHAIN_FILE=deploy/cross/arm64.cmake
set(CMAKE_SYSTEM_NAME Linux)
set(CMAKE_SYSTEM_PROCESSOR aarch64)
set(CMAKE_C_COMPILER aarch64-linux-gnu-gcc)
set(CMAKE_CXX_COMPILER aarch64-linux-gnu-g++)
set(CMAKE_LIBRARY_ARCHITECTURE aarch64-linux-gnu)
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
    "${CMAKE_SYSROOT}/usr/lib/aarch64-linux-gnu/pkgconfig:${CMAKE_SYSROOT}/usr/share/pkgconfig")
set(CMAKE_CROSSCOMPILING_EMULATOR "qemu-aarch64;-L;${CMAKE_SYSROOT}")
