#include "daemon/web/digest.h"

#include <fmt/format.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/sha.h>
#include <zlib.h>

#include <array>
#include <span>

namespace torpor::daemon {
namespace {

std::string hexadecimal(std::span<const unsigned char> bytes) {
  std::string text;
  for (const unsigned char byte : bytes) text += fmt::format("{:02x}", byte);
  return text;
}

const unsigned char* bytes_of(std::string_view text) {
  return reinterpret_cast<const unsigned char*>(text.data());
}

// RFC 1952 instead of a bare zlib stream.
constexpr int kGzipWindow = 15 + 16;
// The middle of zlib's levels, its own default.
constexpr int kLevel = 6;
constexpr int kMemory = 8;  // zlib's default

}  // namespace

std::string digest(std::string_view text) {
  std::array<unsigned char, SHA256_DIGEST_LENGTH> hash{};
  SHA256(bytes_of(text), text.size(), hash.data());
  return hexadecimal(hash);
}

std::string keyed_digest(std::string_view key, std::string_view text) {
  std::array<unsigned char, SHA256_DIGEST_LENGTH> hash{};
  unsigned int size = 0;
  HMAC(EVP_sha256(), key.data(), static_cast<int>(key.size()), bytes_of(text), text.size(),
       hash.data(), &size);
  return hexadecimal(hash);
}

std::string gzipped(std::string_view text) {
  z_stream stream{};
  if (deflateInit2(&stream, kLevel, Z_DEFLATED, kGzipWindow, kMemory, Z_DEFAULT_STRATEGY) != Z_OK) {
    return "";
  }
  std::string packed(deflateBound(&stream, text.size()), '\0');
  // zlib reads only from next_in; its type is older than const.
  stream.next_in = const_cast<Bytef*>(bytes_of(text));
  stream.avail_in = static_cast<uInt>(text.size());
  stream.next_out = reinterpret_cast<Bytef*>(packed.data());
  stream.avail_out = static_cast<uInt>(packed.size());
  const bool whole = deflate(&stream, Z_FINISH) == Z_STREAM_END;
  packed.resize(stream.total_out);
  deflateEnd(&stream);
  return whole ? packed : "";
}

}  // namespace torpor::daemon
