#include "daemon/link/connection.h"

#include <mqtt/async_client.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <random>

#include <fmt/core.h>
#include <spdlog/spdlog.h>

#include "daemon/link/random_name.h"
#include "daemon/link/refusal.h"

namespace torpor::daemon {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

// A dead peer shows within 1.5 of these; short enough that `connected` can be believed, long enough
// not to matter on any network.
constexpr auto kKeepAlive = 30s;
constexpr auto kConnectTimeout = 10s;
// The library looks at its own connect time-out every 3 s or so; after this it has surely answered.
constexpr auto kConnectPatience = kConnectTimeout + 5s;
constexpr auto kSubscribePatience = 10s;
constexpr auto kDisconnectPatience = 2s;
constexpr auto kLookPatience = 5s;
constexpr auto kFarewellPatience = 1s;
// How soon a waiting thread notices that it should stop. Completion itself wakes it at once.
constexpr auto kSlice = 100ms;
// The lost-connection callback is the signal; this look is the safety net behind it.
constexpr auto kCheck = 2s;
// A lasting fault is logged again this often.
constexpr auto kRemind = 10min;
constexpr int kSoftwareFault = 70;  // sysexits.h EX_SOFTWARE
constexpr int kTakenOver = 0x8E;
// Mosquitto's "taken over" does not reach us (paho-c 1.3.12 drops a DISCONNECT without a property
// length), so losing a connection this often, each time with the broker still there, is the sign.
constexpr int kSuspiciousLosses = 3;
constexpr auto kLossMemory = 10min;
// So many within this time are no accident: a dead network takes longer to show (kKeepAlive).
constexpr auto kTakeoverTime = 60s;
// A session under a spare id is of use over a short loss; nobody comes back to it after a restart.
constexpr auto kSpareSession = 1h;

enum class Waited { done, failed, given_up };

// Waits in slices. The library reports a failed token by throwing; it also throws for codes between
// QoS 2 and 0x80, which are no refusals.
template <typename Token, typename GiveUp>
Waited wait_for(Token& token, Clock::time_point deadline, GiveUp give_up) {
  while (true) {
    try {
      if (token.wait_for(kSlice)) return Waited::done;
    } catch (const mqtt::exception&) {
      const bool fine = token.get_return_code() == MQTTASYNC_SUCCESS &&
                        static_cast<int>(token.get_reason_code()) < kFirstRefusal;
      return fine ? Waited::done : Waited::failed;
    }
    if (Clock::now() >= deadline || give_up()) return Waited::given_up;
  }
}

std::string text_property(const mqtt::properties& properties, mqtt::property::code code) {
  return properties.contains(code) ? mqtt::get<std::string>(properties, code) : std::string();
}

IncomingMessage incoming(const mqtt::message& message) {
  IncomingMessage result;
  result.topic = message.get_topic();
  result.payload = message.get_payload();
  result.retained = message.is_retained();
  result.redelivered = message.is_duplicate();
  const mqtt::properties& properties = message.get_properties();
  result.response_topic = text_property(properties, mqtt::property::RESPONSE_TOPIC);
  result.correlation = text_property(properties, mqtt::property::CORRELATION_DATA);
  const std::size_t notes = properties.count(mqtt::property::USER_PROPERTY);
  for (std::size_t i = 0; i < notes; ++i) {
    auto [name, value] = mqtt::get<mqtt::string_pair>(properties, mqtt::property::USER_PROPERTY, i);
    if (name == "by") result.by = std::move(value);
  }
  return result;
}

mqtt::properties properties_of(const Publication& publication) {
  mqtt::properties properties;
  if (!publication.response_topic.empty()) {
    properties.add({mqtt::property::RESPONSE_TOPIC, publication.response_topic});
  }
  if (!publication.correlation.empty()) {
    properties.add({mqtt::property::CORRELATION_DATA, publication.correlation});
  }
  if (publication.expiry.count() > 0) {
    properties.add({mqtt::property::MESSAGE_EXPIRY_INTERVAL,
                    static_cast<int32_t>(publication.expiry.count())});
  }
  for (const auto& [name, value] : publication.notes) {
    properties.add({mqtt::property::USER_PROPERTY, name, value});
  }
  return properties;
}

// Fills options in place: in paho-cpp 1.2.0 a copy of connect_options keeps pointing into the
// original's properties.
void fill(mqtt::connect_options& options, const ConnectionSettings& settings,
          std::chrono::seconds session, bool encrypted) {
  options.set_mqtt_version(MQTTVERSION_5);  // first: it decides which other fields are valid
  options.set_clean_start(session.count() == 0);
  options.set_keep_alive_interval(kKeepAlive);
  options.set_connect_timeout(kConnectTimeout);
  mqtt::properties properties;
  if (session.count() > 0) {
    properties.add(
        {mqtt::property::SESSION_EXPIRY_INTERVAL, static_cast<int32_t>(session.count())});
  }
  if (settings.receive_maximum > 0) {
    properties.add(
        {mqtt::property::RECEIVE_MAXIMUM, static_cast<int32_t>(settings.receive_maximum)});
  }
  options.set_properties(properties);
  if (!settings.access.user.empty()) options.set_user_name(settings.access.user);
  if (!settings.access.password.empty()) options.set_password(settings.access.password);
  if (settings.will) {
    mqtt::properties delay;
    if (settings.will->delay.count() > 0) {
      delay.add({mqtt::property::WILL_DELAY_INTERVAL,
                 static_cast<int32_t>(settings.will->delay.count())});
    }
    options.set_will(mqtt::will_options(settings.will->topic, settings.will->payload, 1,
                                        settings.will->retain, delay));
  }
  if (encrypted) {
    mqtt::ssl_options tls;
    if (!settings.access.authority.empty()) tls.set_trust_store(settings.access.authority);
    if (!settings.access.certificate.empty()) tls.set_key_store(settings.access.certificate);
    if (!settings.access.key.empty()) tls.set_private_key(settings.access.key);
    tls.set_enable_server_cert_auth(true);
    tls.set_verify(true);  // checks the host's name; off by default
    options.set_ssl(tls);
  }
}

// paho-c ends its two threads with its last client; that can take 10 s, and a client made meanwhile
// can find itself without them. This client, never connected and never destroyed, keeps them.
// It is not to set up OpenSSL: that happens by itself with the first encrypted connection, and to a
// house without one it would be a megabyte for nothing.
void keep_library_running() {
  static const bool set_up = [] {
    MQTTAsync_init_options options = MQTTAsync_init_options_initializer;
    MQTTAsync_global_init(&options);
    return true;
  }();
  (void)set_up;
  // `used`: an anchor that the compiler forgets is a leak to whoever looks for one.
  [[gnu::used]] static auto* anchor = new mqtt::async_client(
      "tcp://127.0.0.1:1883", "torpor-anchor", mqtt::create_options(MQTTVERSION_5));
  (void)anchor;
}

std::string library_uri(const BrokerAddress& address) {
  return (address.encrypted ? "ssl://" : "tcp://") + address.text();
}

}  // namespace

struct Connection::Library {
  explicit Library(const std::string& uri, const std::string& client_id)
      : client(uri, client_id, mqtt::create_options(MQTTVERSION_5)) {}

  mqtt::connect_options options;  // outlives every connect() of the client
  mqtt::async_client client;
};

tl::expected<std::unique_ptr<Connection>, Error> Connection::open(ConnectionSettings settings,
                                                                  ConnectionHandlers handlers) {
  auto address = read_broker_address(settings.access.uri);
  if (!address) return tl::unexpected(address.error());
  for (const std::string* file :
       {&settings.access.authority, &settings.access.certificate, &settings.access.key}) {
    std::error_code ignored;  // a file that cannot be looked at is as good as absent
    if (!file->empty() && !std::filesystem::is_regular_file(*file, ignored)) {
      return tl::unexpected(Error{
          ErrorKind::not_found,
          fmt::format("the file '{}' named in broker.tls is not there or cannot be read", *file)});
    }
  }
  std::unique_ptr<Connection> connection(
      new Connection(std::move(settings), std::move(handlers), std::move(*address)));
  try {
    connection->make_client();
    connection->thread_ = std::thread(&Connection::run, connection.get());
  } catch (const std::exception& fault) {
    return tl::unexpected(Error{
        ErrorKind::io, fmt::format("the MQTT connection cannot be set up: {}", fault.what())});
  }
  return connection;
}

Connection::Connection(ConnectionSettings settings, ConnectionHandlers handlers,
                       BrokerAddress address)
    : settings_(std::move(settings)),
      handlers_(std::move(handlers)),
      address_(std::move(address)),
      next_pause_(settings_.retry.first),
      client_id_(settings_.client_id) {}

Connection::~Connection() {
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
    interrupted_ = true;
  }
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

void Connection::make_client() {
  keep_library_running();
  const bool spare = client_id_ != settings_.client_id;
  auto library = std::make_shared<Library>(library_uri(address_), client_id_);
  fill(library->options, settings_,
       spare ? std::min<std::chrono::seconds>(settings_.session_expiry, kSpareSession)
             : settings_.session_expiry,
       address_.encrypted);
  mqtt::async_client& client = library->client;
  // All callbacks before connect(): setting them later can deadlock with a running callback.
  client.set_connection_lost_handler([this](const std::string&) {
    const std::lock_guard lock(mutex_);
    up_ = false;
    lost_ = true;
    changed_.notify_all();
  });
  client.set_disconnected_handler([this](const mqtt::properties&, mqtt::ReasonCode code) {
    const std::lock_guard lock(mutex_);
    broker_said_ = static_cast<int>(code);
  });
  client.set_message_callback([this](const mqtt::const_message_ptr& message) {
    if (!message || !handlers_.message) return;
    IncomingMessage converted;
    try {
      converted = incoming(*message);
    } catch (const std::exception& fault) {
      spdlog::error("a message on '{}' could not be read and is dropped: {}", message->get_topic(),
                    fault.what());
      return;
    }
    take(converted);
  });
  const std::lock_guard lock(mutex_);
  library_ = std::move(library);
}

std::shared_ptr<Connection::Library> Connection::library() const {
  const std::lock_guard lock(mutex_);
  return library_;
}

void Connection::take(const IncomingMessage& message) noexcept {
  try {
    handlers_.message(message);
    return;
  } catch (const std::exception& fault) {
    spdlog::critical("a message on '{}' could not be kept: {}", message.topic, fault.what());
  } catch (...) {
    spdlog::critical("a message on '{}' could not be kept", message.topic);
  }
  spdlog::default_logger()->flush();
  if (!message.redelivered) std::_Exit(kSoftwareFault);
  spdlog::critical("it was a redelivery, so it is dropped now");
}

void Connection::run() {
  std::unique_lock lock(mutex_);
  while (!stopping_) {
    if (paused_) {
      const std::string reason = pause_reason_;
      lock.unlock();
      disconnect();
      report(false, reason);
      lock.lock();
      changed_.wait(lock, [this] { return stopping_ || !paused_; });
      next_pause_ = settings_.retry.first;
      continue;
    }
    lost_ = false;
    broker_said_ = 0;
    lock.unlock();
    const std::string fault = connect_once();
    lock.lock();
    if (stopping_ || paused_) continue;
    if (fault.empty() && !lost_) {
      up_ = true;
      changed_.notify_all();
      lock.unlock();
      report(true, partly_refused_);
      if (session_gone_ && handlers_.disturbed) handlers_.disturbed(Disturbance::session_lost);
      if (taken_session_) end_taken_session();
      stay_connected();
    } else {
      const bool ended = greeted_ && lost_;
      const int code = broker_said_;
      lock.unlock();
      disconnect();
      report(false,
             fault.empty() ? fmt::format("the broker at {} hung up", address_.text()) : fault);
      if (ended) note_end(code);
      wait_before_retry();
    }
    lock.lock();
  }
  lock.unlock();
  disconnect();
}

std::string Connection::connect_once() {
  greeted_ = false;
  try {
    const mqtt::token_ptr token = library_->client.connect(library_->options);
    const auto stop = [this] {
      const std::lock_guard lock(mutex_);
      return stopping_ || paused_;
    };
    const Waited waited = wait_for(*token, Clock::now() + kConnectPatience, stop);
    if (waited == Waited::done) {
      greeted_ = true;
      session_gone_ = had_session_ && !token->get_connect_response().is_session_present();
      return subscribe_all();
    }
    if (waited == Waited::given_up) {
      return fmt::format("the broker at {} does not answer", address_.text());
    }
    // A refusal comes as the return code (the CONNACK's reason), everything else as a negative one.
    const int code = std::max(token->get_return_code(), static_cast<int>(token->get_reason_code()));
    refused_ = code >= kFirstRefusal;
    if (refused_) return refusal_sentence(code, address_, settings_.access);
    return unreachable_sentence(address_, settings_.access, kLookPatience);
  } catch (const mqtt::exception& fault) {
    return fmt::format("the connection to the broker at {} could not be begun: {}", address_.text(),
                       fault.what());
  }
}

// One SUBSCRIBE a filter, all under way at once: each has its own answer then.
std::string Connection::subscribe_all() {
  partly_refused_.clear();
  // What the lost session would have held is gone; what the broker keeps of it is heard.
  const bool retained = session_gone_ || settings_.retain_handling == RetainHandling::send;
  const mqtt::subscribe_options options(false, false,
                                        retained
                                            ? mqtt::subscribe_options::SEND_RETAINED_ON_SUBSCRIBE
                                            : mqtt::subscribe_options::DONT_SEND_RETAINED);
  std::vector<mqtt::token_ptr> tokens;
  tokens.reserve(settings_.filters.size());
  for (const std::string& filter : settings_.filters) {
    tokens.push_back(library_->client.subscribe(filter, 1, options));
  }
  const auto stop = [this] {
    const std::lock_guard lock(mutex_);
    return stopping_ || paused_ || lost_;
  };
  const auto deadline = Clock::now() + kSubscribePatience;
  for (std::size_t i = 0; i < tokens.size(); ++i) {
    const Waited waited = wait_for(*tokens[i], deadline, stop);
    if (waited == Waited::done) continue;
    const int code = static_cast<int>(tokens[i]->get_reason_code());
    if (waited == Waited::given_up || code < kFirstRefusal) {
      return fmt::format("the broker at {} did not confirm the subscription to '{}'",
                         address_.text(), settings_.filters[i]);
    }
    partly_refused_ += fmt::format("{}'{}' ({})", partly_refused_.empty() ? "" : ", ",
                                   settings_.filters[i], refusal_words(code));
  }
  if (!partly_refused_.empty()) {
    partly_refused_ = fmt::format("the broker at {} refuses to send {}; check its access list",
                                  address_.text(), partly_refused_);
  }
  had_session_ = settings_.session_expiry.count() > 0;
  return {};
}

// The other side ended a connection that it had accepted.
void Connection::note_end(int code) {
  const auto now = Clock::now();
  std::erase_if(ends_, [now](Clock::time_point end) { return now - end > kTakeoverTime; });
  ends_.push_back(now);
  if (code != kTakenOver && static_cast<int>(ends_.size()) < kSuspiciousLosses) return;
  ends_.clear();
  const bool again = client_id_ != settings_.client_id;
  take_spare_id();
  if (handlers_.disturbed) {
    handlers_.disturbed(again ? Disturbance::wrong_door : Disturbance::taken_over);
  }
}

void Connection::take_spare_id() {
  const std::string before = client_id_;
  client_id_ = settings_.client_id + '-' + random_name();
  try {
    make_client();
  } catch (const mqtt::exception& fault) {
    client_id_ = before;  // the next time, then
    spdlog::error("{}: cannot take another client id: {}", client_id_, fault.what());
    return;
  }
  spdlog::error(
      "{}: another program connects to the broker with this client id; torpor goes on as {}",
      before, client_id_);
  if (before != settings_.client_id) return;  // no hurry: another name will not help
  taken_session_ = settings_.session_expiry.count() > 0;
  next_pause_ = settings_.retry.first;
}

// A connection under the id that was taken, with a clean start and closed at once. The other one is
// pushed off by it and may come back: that is then its own affair.
void Connection::end_taken_session() {
  taken_session_ = false;
  try {
    Library once(library_uri(address_), settings_.client_id);
    ConnectionSettings plain = settings_;
    plain.will.reset();
    fill(once.options, plain, std::chrono::seconds(0), address_.encrypted);
    const auto stop = [this] {
      const std::lock_guard lock(mutex_);
      return stopping_;
    };
    const mqtt::token_ptr begun = once.client.connect(once.options);
    if (wait_for(*begun, Clock::now() + kConnectPatience, stop) != Waited::done) return;
    const mqtt::token_ptr ended = once.client.disconnect(kSlice);
    wait_for(*ended, Clock::now() + kDisconnectPatience, stop);
  } catch (const mqtt::exception& fault) {
    // The other side was faster, and its clean start has ended the session for us.
    spdlog::debug("ending the session of {}: {}", settings_.client_id, fault.what());
  }
}

void Connection::stay_connected() {
  const auto since = Clock::now();
  std::unique_lock lock(mutex_);
  while (!stopping_ && !paused_ && !lost_) {
    if (changed_.wait_for(lock, kCheck, [this] { return stopping_ || paused_ || lost_; })) break;
    lock.unlock();
    const bool still = library_->client.is_connected();
    lock.lock();
    if (!still) {
      up_ = false;
      lost_ = true;
    }
  }
  if (stopping_ || paused_) return;
  const int code = broker_said_;
  lock.unlock();
  const auto lasted = Clock::now() - since;
  losses_ = lasted > kLossMemory ? 1 : losses_ + 1;
  // A connection that did not last as long as the pause before it does not shorten the next one.
  if (lasted > next_pause_) next_pause_ = settings_.retry.first;
  report(false, loss_sentence(code));
  note_end(code);
  wait_before_retry();
}

std::string Connection::loss_sentence(int code) const {
  if (code >= kFirstRefusal) return refusal_sentence(code, address_, settings_.access);
  if (losses_ >= kSuspiciousLosses) {
    return fmt::format(
        "the connection to the broker at {} is lost again and again though the broker is there; "
        "is a second torpord running with the same `storeroom`?",
        address_.text());
  }
  return fmt::format(
      "the connection to the broker at {} was lost; torpor keeps trying to connect again",
      address_.text());
}

void Connection::wait_before_retry() {
  thread_local std::minstd_rand random(std::random_device{}());
  const double jitter = std::uniform_real_distribution<double>(0.8, 1.2)(random);
  const auto pause = std::chrono::duration_cast<std::chrono::milliseconds>(next_pause_ * jitter);
  next_pause_ = std::min(next_pause_ * 2, settings_.retry.longest);
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, pause, [this] { return stopping_ || paused_; });
}

void Connection::disconnect() {
  {
    const std::lock_guard lock(mutex_);
    up_ = false;
  }
  changed_.notify_all();
  try {
    if (!library_->client.is_connected()) return;
    const mqtt::token_ptr token = library_->client.disconnect(kSlice);
    wait_for(*token, Clock::now() + kDisconnectPatience, [] { return false; });
  } catch (const mqtt::exception& fault) {
    // The other side was faster; what matters is that we are apart.
    spdlog::debug("disconnecting from {}: {}", address_.text(), fault.what());
  }
}

void Connection::report(bool connected, const std::string& reason) {
  if (connected) {
    failures_ = 0;
  } else {
    ++failures_;
  }
  const auto now = Clock::now();
  const bool changed = connected != reported_connected_ || reason != reported_;
  if (changed || (!connected && now - last_logged_ >= kRemind)) {
    last_logged_ = now;
    if (!connected) {
      spdlog::warn("{}: {}{}", client_id_, reason,
                   failures_ > 1 ? fmt::format(" ({} tries)", failures_) : "");
    } else if (reason.empty()) {
      spdlog::info("{}: connected to the broker at {}", client_id_, address_.text());
    } else {
      spdlog::error("{}: {}", client_id_, reason);
    }
  }
  if (!changed) return;
  reported_connected_ = connected;
  reported_ = reason;
  if (handlers_.state) handlers_.state(connected, reason);
}

void Connection::pause(std::string reason) {
  const std::lock_guard lock(mutex_);
  paused_ = true;
  pause_reason_ = std::move(reason);
  changed_.notify_all();
}

void Connection::resume() {
  const std::lock_guard lock(mutex_);
  paused_ = false;
  changed_.notify_all();
}

bool Connection::wait_connected(std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex_);
  changed_.wait_for(lock, patience, [this] { return up_ || interrupted_; });
  return up_ && !interrupted_;
}

DeliveryReport Connection::publish(const Publication& publication,
                                   std::chrono::milliseconds patience) {
  return deliver(publication, patience, [this] {
    const std::lock_guard lock(mutex_);
    return interrupted_ || !up_;
  });
}

void Connection::publish_farewell(const Publication& publication) {
  // Acknowledged or not, there is nothing more to do about it.
  (void)deliver(publication, kFarewellPatience, [this] {
    const std::lock_guard lock(mutex_);
    return !up_;
  });
}

DeliveryReport Connection::deliver(const Publication& publication,
                                   std::chrono::milliseconds patience,
                                   const std::function<bool()>& give_up) {
  if (give_up()) return {};
  try {
    const std::shared_ptr<Library> library = this->library();
    const auto message = mqtt::message::create(publication.topic, publication.payload, 1,
                                               publication.retain, properties_of(publication));
    const mqtt::delivery_token_ptr token = library->client.publish(message);
    switch (wait_for(*token, Clock::now() + patience, give_up)) {
      case Waited::done:
        return {Delivery::acknowledged, {}};
      case Waited::failed: {
        const int code = static_cast<int>(token->get_reason_code());
        if (code >= kFirstRefusal) return {Delivery::refused, refusal_words(code)};
        return {Delivery::interrupted, "the connection was lost"};
      }
      case Waited::given_up:
        break;
    }
    return {Delivery::interrupted, "no acknowledgement came"};
  } catch (const mqtt::exception& fault) {
    return {Delivery::interrupted, fault.what()};
  }
}

void Connection::interrupt() {
  const std::lock_guard lock(mutex_);
  interrupted_ = true;
  changed_.notify_all();
}

}  // namespace torpor::daemon
