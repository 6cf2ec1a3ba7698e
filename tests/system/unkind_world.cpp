// Preloaded into a torpord under test: what happens to a program without its asking. TORPOR_WORLD
// names a folder; files in it are switches, looked at with each call:
//
//   read-only   while it is there, nothing below the folder can be written: EROFS
//   stuck       while it is there, whoever writes the SQLite file's log waits: a disk that hangs
//   clock       a number of seconds, by which the wall clock is wrong
//   uptime      a number of seconds, by which the board has run for longer
//   server      1: a time server keeps the wall clock; 0: none does
//
// Only what the service and its libraries use is covered, and no lock is taken: any thread may be
// in here.
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/timex.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstdarg>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>

namespace {

using Path = std::array<char, 4096>;

const char* folder() {
  static const char* const kFolder = std::getenv("TORPOR_WORLD");
  return kFolder;
}

Path switch_file(const char* name) {
  Path path{};
  std::snprintf(path.data(), path.size(), "%s/%s", folder(), name);
  return path;
}

bool is_below(const char* path) {
  const std::size_t length = std::strlen(folder());
  return std::strncmp(path, folder(), length) == 0 && path[length] == '/';
}

bool read_only() {
  return folder() != nullptr &&
         ::syscall(SYS_faccessat, AT_FDCWD, switch_file("read-only").data(), F_OK) == 0;
}

bool stuck() { return ::syscall(SYS_faccessat, AT_FDCWD, switch_file("stuck").data(), F_OK) == 0; }

// Empty: no file.
Path path_of(int fd) {
  Path link{};
  Path path{};
  std::snprintf(link.data(), link.size(), "/proc/self/fd/%d", fd);
  const long size = ::syscall(SYS_readlinkat, AT_FDCWD, link.data(), path.data(), path.size() - 1);
  if (size < 0) path[0] = '\0';
  return path;
}

// As a disk that has stopped answering makes its writers wait.
void wait_while_stuck(int fd) {
  if (folder() == nullptr || !stuck()) return;
  const Path path = path_of(fd);
  const std::size_t length = std::strlen(path.data());
  if (length < 4 || std::strcmp(path.data() + length - 4, "-wal") != 0) return;
  while (stuck()) {
    const timespec pause{0, 10'000'000};
    ::syscall(SYS_nanosleep, &pause, nullptr);
  }
}

bool refuses(const char* path) {
  if (!read_only() || !is_below(path)) return false;
  errno = EROFS;
  return true;
}

bool refuses(int fd) {
  wait_while_stuck(fd);
  if (!read_only() || !is_below(path_of(fd).data())) return false;
  errno = EROFS;
  return true;
}

// What the file says; `absent` without one.
long number_in(const char* name, long absent) {
  if (folder() == nullptr) return absent;
  const long fd = ::syscall(SYS_openat, AT_FDCWD, switch_file(name).data(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return absent;
  std::array<char, 32> text{};
  const long size = ::syscall(SYS_read, fd, text.data(), text.size() - 1);
  ::syscall(SYS_close, fd);
  return size > 0 ? std::strtol(text.data(), nullptr, 10) : absent;
}

// The library's own, behind this one.
template <class Function>
Function* next(const char* name) {
  return reinterpret_cast<Function*>(::dlsym(RTLD_NEXT, name));
}

int open_unless_refused(const char* path, int flags, mode_t mode) {
  if ((flags & O_ACCMODE) != O_RDONLY || (flags & O_CREAT) != 0) {
    if (refuses(path)) return -1;
  }
  return static_cast<int>(::syscall(SYS_openat, AT_FDCWD, path, flags, mode));
}

}  // namespace

extern "C" {

ssize_t write(int fd, const void* bytes, size_t count) {
  if (refuses(fd)) return -1;
  return ::syscall(SYS_write, fd, bytes, count);
}

ssize_t pwrite64(int fd, const void* bytes, size_t count, off64_t at) {
  static auto* const kNext = next<ssize_t(int, const void*, size_t, off64_t)>("pwrite64");
  return refuses(fd) ? -1 : kNext(fd, bytes, count, at);
}

ssize_t pwrite(int fd, const void* bytes, size_t count, off_t at) {
  static auto* const kNext = next<ssize_t(int, const void*, size_t, off_t)>("pwrite");
  return refuses(fd) ? -1 : kNext(fd, bytes, count, at);
}

int ftruncate(int fd, off_t size) noexcept {
  static auto* const kNext = next<int(int, off_t)>("ftruncate");
  return refuses(fd) ? -1 : kNext(fd, size);
}

int ftruncate64(int fd, off64_t size) noexcept {
  static auto* const kNext = next<int(int, off64_t)>("ftruncate64");
  return refuses(fd) ? -1 : kNext(fd, size);
}

int unlink(const char* path) noexcept {
  static auto* const kNext = next<int(const char*)>("unlink");
  return refuses(path) ? -1 : kNext(path);
}

int remove(const char* path) noexcept {
  static auto* const kNext = next<int(const char*)>("remove");
  return refuses(path) ? -1 : kNext(path);
}

int open(const char* path, int flags, ...) {
  va_list rest;
  va_start(rest, flags);
  const mode_t mode = va_arg(rest, mode_t);
  va_end(rest);
  return open_unless_refused(path, flags, mode);
}

int open64(const char* path, int flags, ...) {
  va_list rest;
  va_start(rest, flags);
  const mode_t mode = va_arg(rest, mode_t);
  va_end(rest);
  return open_unless_refused(path, flags | O_LARGEFILE, mode);
}

int clock_gettime(clockid_t clock, timespec* now) noexcept {
  const long done = ::syscall(SYS_clock_gettime, clock, now);
  if (done == 0 && clock == CLOCK_REALTIME) now->tv_sec += number_in("clock", 0);
  if (done == 0 && clock == CLOCK_BOOTTIME) now->tv_sec += number_in("uptime", 0);
  return static_cast<int>(done);
}

// A moment by the wrong wall clock, as paho-c 1.3.12 reckons its waits of a second, is one by the
// kernel's: else each would be as long as the clock is wrong. Waits by the steady clock are
// pthread_cond_clockwait().
int pthread_cond_timedwait(pthread_cond_t* condition, pthread_mutex_t* mutex,
                           const timespec* until) {
  static auto* const kNext =
      next<int(pthread_cond_t*, pthread_mutex_t*, const timespec*)>("pthread_cond_timedwait");
  timespec kernels = *until;
  kernels.tv_sec -= number_in("clock", 0);
  return kNext(condition, mutex, &kernels);
}

int adjtimex(timex* asked) noexcept {
  const long server = number_in("server", -1);
  if (server < 0) return static_cast<int>(::syscall(SYS_adjtimex, asked));
  asked->status = server == 1 ? STA_PLL : STA_UNSYNC;
  return server == 1 ? TIME_OK : TIME_ERROR;
}
}
