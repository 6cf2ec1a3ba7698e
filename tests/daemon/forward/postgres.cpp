#include "tests/daemon/forward/postgres.h"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <pwd.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <pqxx/pqxx>
#include <stdexcept>
#include <vector>

#include "tests/daemon/link/broker.h"

namespace torpor::testing {
namespace {

namespace fs = std::filesystem;

// The newest version's programs; Debian keeps them out of PATH. Empty: none.
fs::path programs() {
  fs::path newest;
  std::error_code none;
  for (const auto& version : fs::directory_iterator("/usr/lib/postgresql", none)) {
    const fs::path folder = version.path() / "bin";
    if (fs::exists(folder / "initdb") && folder > newest) newest = folder;
  }
  return newest;
}

// It refuses to run as root.
std::vector<std::string> as_nobody(std::vector<std::string> command) {
  if (::geteuid() != 0) return command;
  command.insert(command.begin(),
                 {"setpriv", "--reuid=nobody", "--regid=nogroup", "--clear-groups"});
  return command;
}

void give_to_nobody(const tests::TempFolder& folder) {
  if (::geteuid() != 0) return;
  const passwd* nobody = ::getpwnam("nobody");
  if (nobody == nullptr || ::chown(folder.text().c_str(), nobody->pw_uid, nobody->pw_gid) != 0) {
    throw std::runtime_error("no folder for nobody");
  }
}

}  // namespace

bool Postgres::is_here() {
  if (programs().empty()) {
    MESSAGE("skipped: Debian's package postgresql is not here");
    return false;
  }
  try {
    const tests::TempFolder folder;
    give_to_nobody(folder);
    run_command(as_nobody({"test", "-w", folder.text()}));
  } catch (const std::runtime_error& fault) {
    MESSAGE("skipped: nobody but root may use the temporary folder: ", std::string(fault.what()));
    return false;
  }
  return true;
}

Postgres::Postgres() : port_(free_port()) {
  give_to_nobody(folder_);
  run_command(as_nobody({programs() / "initdb", "-D", data(), "-A", "trust", "-U", "torpor", "-E",
                         "UTF8", "--locale=C", "--no-sync"}));
  start();
}

void Postgres::start() {
  process_ = std::make_unique<ChildProcess>(
      as_nobody({programs() / "postgres", "-D", data(), "-h", "127.0.0.1", "-p",
                 std::to_string(port_), "-k", folder_.text(), "-c", "shared_buffers=16MB"}));
  const bool up = wait_until([this] {
    try {
      return pqxx::connection(connection()).is_open();
    } catch (const pqxx::failure&) {
      return false;
    }
  });
  if (up) return;
  std::string output;
  for (const std::string& line : process_->lines()) output += line + "\n";
  throw std::runtime_error("postgres does not start:\n" + output);
}

void Postgres::kill() {
  process_->signal(SIGQUIT);  // its immediate shutdown: recovery at the next start
  if (!process_->wait()) throw std::runtime_error("postgres does not end");
}

std::string Postgres::connection() const {
  return fmt::format("host=127.0.0.1 port={} user=torpor dbname=postgres connect_timeout=5", port_);
}

}  // namespace torpor::testing
