#include "tests/daemon/link/raw_client.h"
#include "tests/daemon/temp_folder.h"

#include <algorithm>
#include <atomic>
#include <fstream>
#include <stdexcept>

#include <unistd.h>

namespace torpor::testing {
namespace {

// Between the fields of a message in mosquitto_sub's output: ASCII's own separator.
constexpr char kSeparator = '\x1F';

std::vector<std::string> arguments(const std::string& program, const Broker& broker,
                                   const RawUser& user) {
  const int port = user.port == 0 ? broker.port() : user.port;
  std::vector<std::string> result = {program, "-V", "mqttv5", "-p", std::to_string(port)};
  if (broker.options().tls) {
    result.insert(result.end(), {"--cafile", broker.options().tls->authority, "--insecure"});
  }
  result.insert(result.end(), {"-h", "127.0.0.1"});
  if (!user.name.empty()) result.insert(result.end(), {"-u", user.name, "-P", user.password});
  return result;
}

}  // namespace

void raw_publish(const Broker& broker, const RawPublication& publication, const RawUser& user) {
  tests::TempFolder folder;
  const std::string file = folder.text() + "/payload";
  std::ofstream(file, std::ios::binary) << publication.payload;
  auto command = arguments("mosquitto_pub", broker, user);
  command.insert(command.end(),
                 {"-t", publication.topic, "-q", std::to_string(publication.qos), "-f", file});
  if (publication.retain) command.emplace_back("-r");
  command.insert(command.end(), publication.extra.begin(), publication.extra.end());
  if (!user.id.empty()) command.insert(command.end(), {"-i", user.id});
  run_command(command);
}

void raw_publish_lines(const Broker& broker, const std::string& topic,
                       const std::vector<std::string>& lines, const RawUser& user) {
  // mosquitto_pub takes an early acknowledgement for its last message's when its message numbers
  // have come round, at 65535; and so many are published within a command's patience on a machine
  // that is busy, too.
  constexpr std::size_t kLinesAtOnce = 10'000;
  auto command = arguments("mosquitto_pub", broker, user);
  command.insert(command.end(), {"-t", topic, "-q", "1", "-l"});
  for (std::size_t done = 0; done < lines.size(); done += kLinesAtOnce) {
    // Its standard input is a file through a shell's redirection; the names are our own.
    tests::TempFolder folder;
    const std::string file = folder.text() + "/lines";
    {
      std::ofstream out(file);
      for (std::size_t i = done; i < std::min(done + kLinesAtOnce, lines.size()); ++i) {
        out << lines[i] << "\n";
      }
    }
    std::vector<std::string> shell = {"sh", "-c", "exec \"$@\" < \"$0\"", file};
    shell.insert(shell.end(), command.begin(), command.end());
    run_command(shell);
  }
}

RawSubscriber::RawSubscriber(const Broker& broker, const std::string& filter, const RawUser& user) {
  static std::atomic<int> number{0};
  const std::string id = !user.id.empty() ? user.id
                                          : "raw-" + std::to_string(::getpid()) + "-" +
                                                std::to_string(number.fetch_add(1));
  auto command = arguments("mosquitto_sub", broker, user);
  const std::string sep(1, kSeparator);
  command.insert(command.end(), {"-t", filter, "-q", "1", "-i", id, "-F",
                                 "%t" + sep + "%r" + sep + "%P" + sep + "%p" + sep + "%D"});
  process_ = std::make_unique<ChildProcess>(command);
  if (!broker.wait_for_log("Sending SUBACK to " + id)) {
    throw std::runtime_error("mosquitto_sub did not subscribe:\n" + broker.log());
  }
}

std::vector<RawMessage> RawSubscriber::messages() const {
  std::vector<RawMessage> result;
  for (const std::string& line : process_->lines()) {
    std::vector<std::string> fields;
    std::size_t at = 0;
    for (int i = 0; i < 4; ++i) {
      const auto end = line.find(kSeparator, at);
      if (end == std::string::npos) break;
      fields.push_back(line.substr(at, end - at));
      at = end + 1;
    }
    // The rest of correlation data with a line's end in it: one in sixteen of torpor's own has one.
    if (fields.size() < 4) continue;
    result.push_back({fields[0], fields[3], fields[1] == "1", line.substr(at), fields[2]});
  }
  return result;
}

bool RawSubscriber::wait_for(std::size_t count, std::chrono::milliseconds patience) {
  return wait_until([&] { return messages().size() >= count; }, patience);
}

}  // namespace torpor::testing
