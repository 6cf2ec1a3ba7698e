#include "tests/daemon/link/broker.h"

#include <csignal>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

namespace torpor::testing {
namespace {

// Debian's package; /usr/sbin is not in every PATH.
constexpr const char* kProgram = "/usr/sbin/mosquitto";

sockaddr_in loopback(int port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  return address;
}

bool accepts(int port) {
  const int descriptor = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const sockaddr_in address = loopback(port);
  const bool connected =
      ::connect(descriptor, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
  ::close(descriptor);
  return connected;
}

}  // namespace

int free_port() {
  const int descriptor = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  socklen_t size = sizeof address;
  const bool bound =
      ::bind(descriptor, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0 &&
      ::getsockname(descriptor, reinterpret_cast<sockaddr*>(&address), &size) == 0;
  ::close(descriptor);
  if (!bound) throw std::runtime_error("no free port");
  return ntohs(address.sin_port);
}

Broker::Broker(BrokerOptions options, bool start_now)
    : options_(std::move(options)), port_(options_.port == 0 ? free_port() : options_.port) {
  write_configuration();
  if (start_now) start();
}

void Broker::write_configuration() {
  std::ofstream file(folder() + "/mosquitto.conf");
  // Started by root, mosquitto would drop to the user mosquitto, who cannot write in the folder.
  if (::geteuid() == 0) file << "user root\n";
  file << "log_dest file " << folder() << "/log\nlog_type all\nconnection_messages true\n"
       << "persistence " << (options_.persistence ? "true" : "false") << "\n"
       << "persistence_location " << folder() << "/\n";
  if (!options_.listeners.empty()) {
    file << options_.listeners;
    return;
  }
  file << "listener " << port_ << " 127.0.0.1\n"
       << "allow_anonymous " << (options_.users.empty() ? "true" : "false") << "\n";
  if (!options_.users.empty()) file << "password_file " << folder() << "/passwords\n";
  if (!options_.access_list.empty()) {
    std::ofstream(folder() + "/access") << options_.access_list;
    file << "acl_file " << folder() << "/access\n";
  }
  if (options_.tls) {
    file << "cafile " << options_.tls->authority << "\ncertfile " << options_.tls->certificate
         << "\nkeyfile " << options_.tls->key << "\nrequire_certificate "
         << (options_.tls->clients_need_certificate ? "true" : "false") << "\n";
  }
  for (const std::string& line : options_.extra) file << line << "\n";
  write_passwords();
}

void Broker::write_passwords() {
  const std::string path = folder() + "/passwords";
  std::ofstream(path, std::ios::trunc).flush();
  for (const auto& [user, password] : options_.users) {
    run_command({"mosquitto_passwd", "-b", path, user, password});
  }
}

void Broker::start() {
  process_ = std::make_unique<ChildProcess>(
      std::vector<std::string>{kProgram, "-c", folder() + "/mosquitto.conf"});
  const bool up = wait_until([this] {
    return accepts(port_) || process_->wait(std::chrono::milliseconds(0)).has_value();
  });
  if (!up || !running()) throw std::runtime_error("mosquitto does not start:\n" + log());
}

void Broker::stop() {
  process_->signal(SIGTERM);
  if (!process_->wait()) throw std::runtime_error("mosquitto does not end:\n" + log());
}

void Broker::kill() {
  process_->signal(SIGKILL);
  if (!process_->wait()) throw std::runtime_error("mosquitto does not end:\n" + log());
}

void Broker::restart() {
  stop();
  start();
}

void Broker::freeze() { process_->signal(SIGSTOP); }
void Broker::thaw() { process_->signal(SIGCONT); }

void Broker::set_password(const std::string& user, const std::optional<std::string>& password) {
  if (password) {
    options_.users[user] = *password;
  } else {
    options_.users.erase(user);
  }
  write_passwords();
  const std::size_t reloads = count_in_log("Reloading config");
  process_->signal(SIGHUP);
  if (!wait_for_log("Reloading config", reloads + 1)) {
    throw std::runtime_error("mosquitto does not reload:\n" + log());
  }
}

std::string Broker::uri() const { return uri("127.0.0.1"); }

std::string Broker::uri(const std::string& host) const {
  return (options_.tls ? "mqtts://" : "mqtt://") + host + ":" + std::to_string(port_);
}

bool Broker::running() {
  return process_ && !process_->wait(std::chrono::milliseconds(0)).has_value();
}

std::string Broker::log() const {
  std::ostringstream text;
  text << std::ifstream(folder() + "/log").rdbuf();
  if (process_) {
    for (const std::string& line : process_->lines()) text << line << "\n";
  }
  return text.str();
}

std::size_t Broker::count_in_log(const std::string& wanted) const {
  const std::string text = log();
  std::size_t count = 0;
  for (auto at = text.find(wanted); at != std::string::npos;
       at = text.find(wanted, at + wanted.size())) {
    ++count;
  }
  return count;
}

bool Broker::wait_for_log(const std::string& text, std::size_t count,
                          std::chrono::milliseconds patience) const {
  return wait_until([&] { return count_in_log(text) >= count; }, patience);
}

}  // namespace torpor::testing
