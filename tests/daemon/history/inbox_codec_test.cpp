#include "daemon/history/inbox_codec.h"

#include <doctest/doctest.h>

#include <bit>
#include <limits>

#include "daemon/history/inbox_segment.h"
#include "daemon/history/little_endian.h"
#include "samples.h"

namespace torpor::daemon {
namespace {

std::string encoded(const InboxPayload& payload) {
  std::string bytes;
  encode_payload(payload, bytes);
  return bytes;
}

std::uint8_t kind_byte(const InboxPayload& payload) {
  return static_cast<std::uint8_t>(record_kind(payload));
}

TEST_CASE("numbers are written with the low byte first, whatever the machine") {
  std::string bytes;
  put_number(bytes, std::uint32_t{0x04030201});
  put_number(bytes, std::uint64_t{0x0c0b0a0908070605});
  CHECK(bytes == "\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c");
  CHECK(number_at<std::uint32_t>(bytes, 0) == 0x04030201);
  CHECK(number_at<std::uint64_t>(bytes, 4) == 0x0c0b0a0908070605);
}

TEST_CASE("every kind of record comes back as it was") {
  for (const InboxPayload& payload : one_of_each()) {
    const auto decoded = decode_payload(kind_byte(payload), encoded(payload));
    REQUIRE(decoded);
    CHECK(*decoded == payload);
  }
}

TEST_CASE("a payload that is cut short or has a byte too many is refused at every length") {
  for (const InboxPayload& payload : one_of_each()) {
    const std::string bytes = encoded(payload);
    for (std::size_t size = 0; size < bytes.size(); ++size) {
      CHECK_FALSE(decode_payload(kind_byte(payload), bytes.substr(0, size)));
    }
    CHECK_FALSE(decode_payload(kind_byte(payload), bytes + '\0'));
  }
}

TEST_CASE("kinds outside of 1 to 8 are refused") {
  const std::string bytes = encoded(TickRecord{kEvening});
  CHECK(decode_payload(4, bytes));
  CHECK_FALSE(decode_payload(0, bytes));
  CHECK_FALSE(decode_payload(9, bytes));
  CHECK_FALSE(decode_payload(255, bytes));
}

TEST_CASE("doubles keep every bit") {
  using Limits = std::numeric_limits<double>;
  for (const double raw : {0.0, -0.0, Limits::denorm_min(), -Limits::denorm_min(), Limits::min(),
                           Limits::max(), Limits::lowest(), 0.1, 1.0 / 3.0, 23.700000000000003}) {
    const InboxPayload payload = message({temperature(raw, kEvening)});
    const auto decoded = decode_payload(1, encoded(payload));
    REQUIRE(decoded);
    const double back = std::get<ReadingsRecord>(*decoded).readings.at(0).raw;
    CHECK(std::bit_cast<std::uint64_t>(back) == std::bit_cast<std::uint64_t>(raw));
  }
}

TEST_CASE("a value that is not a number is refused") {
  for (const double raw :
       {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
    CHECK_FALSE(decode_payload(1, encoded(message({temperature(raw, kEvening)}))));
  }
}

TEST_CASE("a quantity, unit or sensor that does not exist is refused") {
  const InboxPayload payload = message({temperature(21.5, kEvening)});
  const std::string good = encoded(payload);
  REQUIRE(decode_payload(1, good));
  const std::size_t at = good.size() - 31;  // the one reading's first byte, its sensor's number
  struct Change {
    std::size_t offset;
    char byte;
  };
  for (const Change change :
       {Change{0, 1}, Change{4, 0}, Change{4, 3}, Change{5, 0}, Change{5, 5}, Change{5, 4}}) {
    std::string bytes = good;
    bytes[at + change.offset] = change.byte;
    CAPTURE(change.offset);
    CHECK_FALSE(decode_payload(1, bytes));
  }
}

TEST_CASE("a sensor's id is written once for all its readings") {
  const std::string id(100, 'x');
  std::vector<Reading> readings(10, reading(id, Quantity::temperature, 20, kEvening));
  const std::string bytes = encoded(message(readings));
  CHECK(bytes.size() == 8 + 8 + 1 + 4 + (4 + id.size()) + 4 + 10 * 31);
}

TEST_CASE("an empty message of no readings is a record too") {
  const InboxPayload payload = ReadingsRecord{kEvening, {}, 1, false};
  CHECK(decode_payload(1, encoded(payload)) == payload);
}

TEST_CASE("a jar's model is taken up to its largest size and not beyond") {
  JarModelRecord record{"B-07", 1, kEvening, std::string(kLargestJarModel, 'm')};
  CHECK(decode_payload(5, encoded(record)) == InboxPayload(record));
  record.bytes += 'm';
  CHECK_FALSE(decode_payload(5, encoded(record)));
}

TEST_CASE("the checksum is CRC-32/ISO-HDLC") {
  // Check value of the catalogue of parametrised CRC algorithms (G. Cook), CRC-32/ISO-HDLC.
  CHECK(crc32_of("123456789") == 0xcbf43926);
}

}  // namespace
}  // namespace torpor::daemon
