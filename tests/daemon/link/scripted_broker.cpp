#include "tests/daemon/link/scripted_broker.h"

#include <algorithm>
#include <stdexcept>
#include <utility>

#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

namespace torpor::testing {
namespace {

// Control packet types (MQTT 5, table 2-1), shifted into the first byte.
constexpr unsigned kConnect = 0x10;
constexpr unsigned kPublish = 0x30;
constexpr unsigned kSubscribe = 0x80;
constexpr unsigned kPing = 0xC0;

// Waits in slices for input. False: the end of the connection or of the test.
bool readable(int descriptor, const std::atomic<bool>& stopping) {
  while (!stopping) {
    pollfd wanted{descriptor, POLLIN, 0};
    if (::poll(&wanted, 1, 50) > 0) return true;
  }
  return false;
}

bool read_exactly(int descriptor, std::string& into, std::size_t count,
                  const std::atomic<bool>& stopping) {
  into.clear();
  while (into.size() < count) {
    char buffer[4096];
    const std::size_t want = std::min(sizeof buffer, count - into.size());
    if (!readable(descriptor, stopping)) return false;
    const ssize_t got = ::recv(descriptor, buffer, want, 0);
    if (got <= 0) return false;
    into.append(buffer, static_cast<std::size_t>(got));
  }
  return true;
}

void send_bytes(int descriptor, const std::string& bytes) {
  (void)::send(descriptor, bytes.data(), bytes.size(), MSG_NOSIGNAL);  // gone: the next read tells
}

std::string bytes(std::initializer_list<unsigned> values) {
  std::string result;
  for (const unsigned value : values) result.push_back(static_cast<char>(value));
  return result;
}

unsigned at(const std::string& text, std::size_t index) {
  return static_cast<unsigned char>(text.at(index));
}

}  // namespace

ScriptedBroker::ScriptedBroker(BrokerScript script) : script_(std::move(script)) {
  listener_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof address;
  if (::bind(listener_, reinterpret_cast<sockaddr*>(&address), size) != 0 ||
      ::getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &size) != 0 ||
      ::listen(listener_, 8) != 0) {
    throw std::runtime_error("no port for a scripted broker");
  }
  port_ = ntohs(address.sin_port);
  thread_ = std::thread(&ScriptedBroker::run, this);
}

ScriptedBroker::~ScriptedBroker() {
  stopping_ = true;
  thread_.join();
  ::close(listener_);
}

void ScriptedBroker::change(BrokerScript script) {
  const std::lock_guard lock(mutex_);
  script_ = std::move(script);
}

BrokerScript ScriptedBroker::script() const {
  const std::lock_guard lock(mutex_);
  return script_;
}

std::string ScriptedBroker::uri() const { return "mqtt://127.0.0.1:" + std::to_string(port_); }

std::string ScriptedBroker::publish_packet(const std::string& topic, const std::string& payload,
                                           bool retained) {
  const auto length = static_cast<unsigned>(topic.size());
  std::string body = bytes({length >> 8, length & 0xFF}) + topic + bytes({0, 7, 0}) + payload;
  return bytes({kPublish | 2U | (retained ? 1U : 0U), static_cast<unsigned>(body.size())}) + body;
}

std::string ScriptedBroker::disconnect_packet(std::uint8_t reason) {
  return bytes({0xE0, 2, reason, 0});
}

void ScriptedBroker::run() {
  while (readable(listener_, stopping_)) {
    const int connection = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
    if (connection < 0) continue;
    serve(connection);
    ::close(connection);
  }
}

void ScriptedBroker::serve(int connection) {
  int subscribed = 0;
  std::string head;
  std::string body;
  while (read_exactly(connection, head, 1, stopping_)) {
    const unsigned type = at(head, 0) & 0xF0U;
    std::size_t length = 0;
    for (unsigned shift = 0;; shift += 7) {
      if (!read_exactly(connection, head, 1, stopping_)) return;
      length |= static_cast<std::size_t>(at(head, 0) & 0x7FU) << shift;
      if ((at(head, 0) & 0x80U) == 0) break;
    }
    if (!read_exactly(connection, body, length, stopping_)) return;
    const BrokerScript now = script();
    if (type == kConnect) {
      send_bytes(connection, bytes({0x20, 3, 0, now.connack, 0}));
      if (now.connack != 0) return;
    } else if (type == kSubscribe) {
      send_bytes(connection, bytes({0x90, 4, at(body, 0), at(body, 1), 0, now.suback}));
      if (++subscribed == now.subscriptions) send_bytes(connection, now.after_subscribe);
    } else if (type == kPublish) {
      const std::size_t topic = at(body, 0) * 256U + at(body, 1);
      send_bytes(connection,
                 bytes({0x40, 4, at(body, topic + 2), at(body, topic + 3), now.puback, 0}));
    } else if (type == kPing) {
      send_bytes(connection, bytes({0xD0, 0}));
    }
  }
}

}  // namespace torpor::testing
