# What all of Debian's architectures have in common; included by the toolchain file of one, which says
# torpor_machine (as in /usr/lib/MACHINE) and torpor_emulator.
set(CMAKE_SYSTEM_NAME Linux)
set(CMAKE_C_COMPILER ${torpor_machine}-gcc)
set(CMAKE_CXX_COMPILER ${torpor_machine}-g++)
set(CMAKE_LIBRARY_ARCHITECTURE ${torpor_machine})
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
    "${CMAKE_SYSROOT}/usr/lib/${torpor_machine}/pkgconfig:${CMAKE_SYSROOT}/usr/share/pkgconfig")
set(CMAKE_CROSSCOMPILING_EMULATOR "${torpor_emulator};-L;${CMAKE_SYSROOT}")
