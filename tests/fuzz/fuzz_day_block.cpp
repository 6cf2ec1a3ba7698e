// Day blocks from a disk that cannot be trusted. The input is a block's body, which the checksum of
// the frame around it would else keep from ever being reached; and once as the frame itself.
#include <zstd.h>

#include <cstdint>
#include <string>
#include <string_view>

#include "daemon/history/day_block.h"
#include "tests/fuzz/checks.h"

namespace {

using namespace torpor;
using namespace torpor::daemon;

constexpr std::int64_t kDay = 20'514;
// A few bytes can stand for a million equal readings; writing them again would be all the time.
constexpr std::size_t kLongestWrittenAgain = 2000;

void try_block(std::string_view bytes) {
  for (const Quantity quantity : {Quantity::temperature, Quantity::humidity}) {
    const auto readings = decode_day(kDay, "s1", quantity, bytes);
    if (!readings || readings->size() > kLongestWrittenAgain) continue;
    // What is taken is a day that can be written again and is then the same.
    const auto again = decode_day(kDay, "s1", quantity, encode_day(kDay, *readings));
    fuzz::require(again == readings, "a decoded day comes back from its own block");
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view body(reinterpret_cast<const char*>(data), size);
  std::string frame(ZSTD_compressBound(size), '\0');
  frame.resize(ZSTD_compress(frame.data(), frame.size(), data, size, 1));
  try_block(frame);
  try_block(body);
  return 0;
}
