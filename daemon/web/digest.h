// Digests and compression of pages, by OpenSSL and zlib.
#pragma once

#include <string>
#include <string_view>

namespace torpor::daemon {

// SHA-256 in hexadecimal.
[[nodiscard]] std::string digest(std::string_view text);
// HMAC-SHA-256 in hexadecimal.
[[nodiscard]] std::string keyed_digest(std::string_view key, std::string_view text);
// gzip (RFC 1952); empty: it could not be made.
[[nodiscard]] std::string gzipped(std::string_view text);

}  // namespace torpor::daemon
