// A real PostgreSQL for tests: on 127.0.0.1, on a free port, its files in a temporary folder, never
// as root, ended by its own process id. Nothing of the system's own is read or touched.
#pragma once

#include <memory>
#include <string>

#include "tests/daemon/link/child_process.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::testing {

class Postgres {
 public:
  // Whether the server's programs are on this machine; says so if not.
  [[nodiscard]] static bool is_here();
  // Made and started. Throws std::runtime_error, with its output, when it does not come up.
  Postgres();

  void start();
  void kill();                                   // at once, as a power cut of its machine
  [[nodiscard]] std::string connection() const;  // libpq's

 private:
  [[nodiscard]] std::string data() const { return folder_.text() + "/data"; }

  tests::TempFolder folder_;
  int port_ = 0;
  std::unique_ptr<ChildProcess> process_;
};

}  // namespace torpor::testing
