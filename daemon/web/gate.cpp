#include "daemon/web/gate.h"

#include <fmt/format.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>

#include <algorithm>
#include <array>
#include <vector>

#include "daemon/web/digest.h"

namespace torpor::daemon {
namespace {

constexpr std::string_view kCookie = "torpor";
// A season: whoever reads labels with a phone enters the token a few times a year.
constexpr int kCookieSeconds = 90 * 24 * 3600;
// A header is 8 KiB at most; a token in it far less.
constexpr std::size_t kLongestToken = 4096;

// In a time that does not tell how much of it was right.
bool same(std::string_view a, std::string_view b) {
  return a.size() == b.size() && CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

std::string lower(std::string_view text) {
  std::string result(text);
  std::transform(result.begin(), result.end(), result.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return result;
}

std::string_view without_port(std::string_view host) {
  const std::size_t colon = host.rfind(':');
  const bool port = colon != std::string_view::npos &&
                    host.find_first_not_of("0123456789", colon + 1) == std::string_view::npos;
  return port ? host.substr(0, colon) : host;
}

std::string_view port_of(std::string_view host) {
  return host.substr(std::min(host.size(), without_port(host).size()));
}

}  // namespace

std::string token_of(std::string_view authorization) {
  constexpr std::string_view kScheme = "basic ";
  if (authorization.size() > kLongestToken || !lower(authorization).starts_with(kScheme)) return "";
  const std::string_view encoded = authorization.substr(kScheme.size());
  if (encoded.empty() || encoded.size() % 4 != 0) return "";
  std::vector<unsigned char> decoded(encoded.size() / 4 * 3 + 1);
  const int size =
      EVP_DecodeBlock(decoded.data(), reinterpret_cast<const unsigned char*>(encoded.data()),
                      static_cast<int>(encoded.size()));
  if (size < 0) return "";
  std::string text(decoded.begin(), decoded.begin() + size);
  const auto padding = static_cast<std::size_t>(std::count(
      encoded.end() - std::min<std::ptrdiff_t>(2, std::ssize(encoded)), encoded.end(), '='));
  text.resize(text.size() - std::min(padding, text.size()));
  const std::size_t colon = text.find(':');
  return colon == std::string::npos ? "" : text.substr(colon + 1);
}

std::string_view cookie_named(std::string_view header, std::string_view name) {
  while (!header.empty()) {
    const std::size_t end = header.find(';');
    std::string_view pair = header.substr(0, end);
    header.remove_prefix(end == std::string_view::npos ? header.size() : end + 1);
    while (!pair.empty() && pair.front() == ' ') pair.remove_prefix(1);
    if (pair.starts_with(name) && pair.substr(name.size()).starts_with('=')) {
      return pair.substr(name.size() + 1);
    }
  }
  return "";
}

Gate::Gate(const GateSettings& settings) : token_(settings.token) {
  std::string_view address = settings.address;
  encrypted_ = address.starts_with("https://");
  const std::size_t scheme = address.find("://");
  if (scheme != std::string_view::npos) address.remove_prefix(scheme + 3);
  host_ = lower(address.substr(0, address.find('/')));
  if (!token_.empty()) pass_ = keyed_digest(token_, "torpor web pages");
}

// By an address's own numbers, by localhost, or by the configured name.
bool Gate::host_is_ours(const Visitor& visitor) const {
  const std::string host = lower(visitor.host);
  if (host.empty()) return false;
  if (host == host_ || host == visitor.local_address) return true;
  const std::string_view name = without_port(host), port = port_of(host);
  const std::string_view local = without_port(visitor.local_address);
  if (port != port_of(visitor.local_address)) return false;
  const bool from_here = local.starts_with("127.") || local == "[::1]";
  return name == local || (from_here && (name == "localhost" || name == "127.0.0.1"));
}

Passage Gate::judge(const Visitor& visitor) const {
  if (!host_is_ours(visitor)) return Passage::wrong_host;
  if (token_.empty() || same(cookie_named(visitor.cookie, kCookie), pass_)) return Passage::open;
  if (visitor.authorization.empty()) return Passage::no_token;
  return same(token_of(visitor.authorization), token_) ? Passage::entered : Passage::wrong_token;
}

std::string Gate::set_cookie() const {
  return fmt::format("{}={}; Max-Age={}; Path=/; HttpOnly; SameSite=Strict{}", kCookie, pass_,
                     kCookieSeconds, encrypted_ ? "; Secure" : "");
}

}  // namespace torpor::daemon
