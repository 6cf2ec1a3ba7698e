// unreachable_sentence(): the look of our own at a broker that does not answer. Only this file uses
// OpenSSL directly; what it checks is what the MQTT library checks: the chain up to the authority
// and the host's name in the certificate.
#include <arpa/inet.h>
#include <netdb.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <memory>
#include <utility>

#include <fmt/core.h>

#include "daemon/link/refusal.h"

namespace torpor::daemon {
namespace {

using Clock = std::chrono::steady_clock;

// Owns one socket.
class Socket {
 public:
  explicit Socket(int descriptor) : descriptor_(descriptor) {}
  ~Socket() {
    if (descriptor_ >= 0) ::close(descriptor_);
  }
  Socket(Socket&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;
  Socket& operator=(Socket&&) = delete;
  [[nodiscard]] int get() const { return descriptor_; }

 private:
  int descriptor_;
};

template <auto release>
struct Releaser {
  template <typename T>
  void operator()(T* pointer) const {
    release(pointer);
  }
};
using Addresses = std::unique_ptr<addrinfo, Releaser<&freeaddrinfo>>;
using Context = std::unique_ptr<SSL_CTX, Releaser<&SSL_CTX_free>>;
using Session = std::unique_ptr<SSL, Releaser<&SSL_free>>;

bool wait_for(int descriptor, short events, Clock::time_point deadline) {
  const auto left =
      std::chrono::duration_cast<std::chrono::milliseconds>(deadline - Clock::now()).count();
  if (left <= 0) return false;
  pollfd wanted{descriptor, events, 0};
  return ::poll(&wanted, 1, static_cast<int>(left)) == 1;
}

// A connected socket, or the sentence that says why not.
tl::expected<Socket, std::string> reach(const BrokerAddress& address, Clock::time_point deadline) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* raw = nullptr;
  const int fault =
      getaddrinfo(address.host.c_str(), std::to_string(address.port).c_str(), &hints, &raw);
  const Addresses found(raw);
  if (fault != 0) {
    return tl::unexpected(
        fmt::format("the broker's host name '{}' is not known here ({}); check broker.url and the "
                    "network",
                    address.host, gai_strerror(fault)));
  }
  int last_error = ETIMEDOUT;
  for (const addrinfo* entry = found.get(); entry != nullptr; entry = entry->ai_next) {
    Socket candidate(
        ::socket(entry->ai_family, entry->ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
    if (candidate.get() < 0) {
      last_error = errno;
      continue;
    }
    if (::connect(candidate.get(), entry->ai_addr, entry->ai_addrlen) == 0) return candidate;
    last_error = errno;
    if (last_error != EINPROGRESS) continue;
    if (!wait_for(candidate.get(), POLLOUT, deadline)) {
      last_error = ETIMEDOUT;
      continue;
    }
    socklen_t size = sizeof last_error;
    ::getsockopt(candidate.get(), SOL_SOCKET, SO_ERROR, &last_error, &size);
    if (last_error == 0) return candidate;
  }
  if (last_error == ECONNREFUSED) {
    return tl::unexpected(fmt::format(
        "no broker answers at {}; is it running, and is the port right?", address.text()));
  }
  return tl::unexpected(
      fmt::format("the broker at {} cannot be reached: {}; check broker.url and the network",
                  address.text(), std::strerror(last_error)));
}

// The name and the alternative names of a certificate, for the message about a wrong host.
std::string names_in(X509* certificate) {
  std::string names;
  auto* alternatives = static_cast<GENERAL_NAMES*>(
      X509_get_ext_d2i(certificate, NID_subject_alt_name, nullptr, nullptr));
  for (int i = 0; i < sk_GENERAL_NAME_num(alternatives); ++i) {
    const GENERAL_NAME* name = sk_GENERAL_NAME_value(alternatives, i);
    std::string text;
    if (name->type == GEN_DNS) {
      text.assign(reinterpret_cast<const char*>(ASN1_STRING_get0_data(name->d.dNSName)),
                  static_cast<std::size_t>(ASN1_STRING_length(name->d.dNSName)));
    } else if (name->type == GEN_IPADD && ASN1_STRING_length(name->d.iPAddress) == 4) {
      char buffer[INET_ADDRSTRLEN] = {};
      inet_ntop(AF_INET, ASN1_STRING_get0_data(name->d.iPAddress), buffer, sizeof buffer);
      text = buffer;
    }
    if (text.empty()) continue;
    if (!names.empty()) names += ", ";
    names += text;
  }
  GENERAL_NAMES_free(alternatives);
  if (names.empty()) {
    char common[256] = {};
    X509_NAME_get_text_by_NID(X509_get_subject_name(certificate), NID_commonName, common,
                              sizeof common);
    names = common;
  }
  return names.empty() ? "no name" : names;
}

// Keeps the names of the broker's own certificate when it is refused: afterwards the session no
// longer has it. The string is the session's application data.
int keep_names(int accepted, X509_STORE_CTX* store) {
  X509* certificate = X509_STORE_CTX_get_current_cert(store);
  if (accepted == 0 && certificate != nullptr && X509_STORE_CTX_get_error_depth(store) == 0) {
    auto* session =
        static_cast<SSL*>(X509_STORE_CTX_get_ex_data(store, SSL_get_ex_data_X509_STORE_CTX_idx()));
    *static_cast<std::string*>(SSL_get_app_data(session)) = names_in(certificate);
  }
  return accepted;
}

std::string certificate_sentence(long fault, const std::string& names, const BrokerAddress& address,
                                 const BrokerAccess& access) {
  const std::string whose = "the certificate of the broker at " + address.text();
  switch (fault) {
    case X509_V_ERR_HOSTNAME_MISMATCH:
    case X509_V_ERR_IP_ADDRESS_MISMATCH:
      return fmt::format(
          "{} is for {}, not for '{}'; write that name in broker.url, or renew the certificate",
          whose, names, address.host);
    case X509_V_ERR_CERT_HAS_EXPIRED:
      return whose + " has expired; renew it, or set this machine's clock if that is wrong";
    case X509_V_ERR_CERT_NOT_YET_VALID:
      return whose + " is not valid yet; is this machine's clock behind?";
    case X509_V_ERR_UNABLE_TO_GET_ISSUER_CERT:
    case X509_V_ERR_UNABLE_TO_GET_ISSUER_CERT_LOCALLY:
    case X509_V_ERR_UNABLE_TO_VERIFY_LEAF_SIGNATURE:
    case X509_V_ERR_SELF_SIGNED_CERT_IN_CHAIN:
    case X509_V_ERR_DEPTH_ZERO_SELF_SIGNED_CERT:
    case X509_V_ERR_CERT_SIGNATURE_FAILURE:
      return access.authority.empty()
                 ? whose +
                       " is signed by an authority this system does not know; set "
                       "broker.tls.authority to that authority's certificate"
                 : fmt::format(
                       "{} is not signed by the authority in {}; set broker.tls.authority "
                       "to the one that signed it",
                       whose, access.authority);
    default:
      return fmt::format("{} is refused: {}", whose, X509_verify_cert_error_string(fault));
  }
}

// Our own files, then the handshake. Empty: all is well.
std::string handshake_fault(const Socket& socket, const BrokerAddress& address,
                            const BrokerAccess& access, Clock::time_point deadline) {
  const Context context(SSL_CTX_new(TLS_client_method()));
  if (!context) return "TLS cannot be set up on this machine";
  const int trusted =
      access.authority.empty()
          ? SSL_CTX_set_default_verify_paths(context.get())
          : SSL_CTX_load_verify_locations(context.get(), access.authority.c_str(), nullptr);
  if (trusted != 1) {
    return fmt::format("the certificate authority in {} cannot be read; it must be a PEM file",
                       access.authority);
  }
  if (!access.certificate.empty()) {
    const std::string& key = access.key.empty() ? access.certificate : access.key;
    if (SSL_CTX_use_certificate_chain_file(context.get(), access.certificate.c_str()) != 1 ||
        SSL_CTX_use_PrivateKey_file(context.get(), key.c_str(), SSL_FILETYPE_PEM) != 1) {
      return fmt::format(
          "our own certificate {} and key {} cannot be used together; both must be "
          "PEM files that belong to each other",
          access.certificate, key);
    }
  }
  SSL_CTX_set_verify(context.get(), SSL_VERIFY_PEER, &keep_names);
  const Session session(SSL_new(context.get()));
  if (!session) return "TLS cannot be set up on this machine";
  std::string names;
  SSL_set_app_data(session.get(), &names);
  X509_VERIFY_PARAM* checks = SSL_get0_param(session.get());
  if (X509_VERIFY_PARAM_set1_ip_asc(checks, address.host.c_str()) != 1) {
    SSL_set1_host(session.get(), address.host.c_str());
    SSL_set_tlsext_host_name(session.get(), address.host.c_str());
  }
  SSL_set_fd(session.get(), socket.get());
  while (true) {
    ERR_clear_error();
    const int done = SSL_connect(session.get());
    if (done == 1) return {};
    const int why = SSL_get_error(session.get(), done);
    const short events = why == SSL_ERROR_WANT_WRITE ? POLLOUT : POLLIN;
    const bool goes_on = why == SSL_ERROR_WANT_READ || why == SSL_ERROR_WANT_WRITE;
    if (goes_on && wait_for(socket.get(), events, deadline)) continue;
    const long fault = SSL_get_verify_result(session.get());
    if (fault != X509_V_OK) return certificate_sentence(fault, names, address, access);
    return fmt::format(
        "{} answers, but not with TLS; write mqtt:// if the broker is not "
        "encrypted, or give its TLS port (8883 is usual)",
        address.text());
  }
}

}  // namespace

std::string unreachable_sentence(const BrokerAddress& address, const BrokerAccess& access,
                                 std::chrono::milliseconds patience) {
  const auto deadline = Clock::now() + patience;
  const auto socket = reach(address, deadline);
  if (!socket) return socket.error();
  if (address.encrypted) {
    std::string fault = handshake_fault(*socket, address, access, deadline);
    if (!fault.empty()) return fault;
    return fmt::format(
        "the broker at {} closed the encrypted connection without an answer; does "
        "it want a certificate of ours (broker.tls.certificate)?",
        address.text());
  }
  return fmt::format(
      "{} closed the connection without an answer; is it an MQTT broker, and does "
      "it want mqtts://?",
      address.text());
}

}  // namespace torpor::daemon
