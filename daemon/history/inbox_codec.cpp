// payload   = readings | tell | link | tick | jar_model | disk | clock_step |
//             clock_move
// readings  = received:i64 digest:u64 redelivered:bool
//             sensors:u32 { id:text }            ids of the record, each once
//             count:u32 { reading }
// reading   = sensor:u32 quantity:u8 unit:u8 marks:u8 raw:f64 measured:i64 received:i64
//             sensor counts from 0 in the list of ids
// tell      = received:i64 redelivered:bool sentence:text by:text response_topic:text
//             correlation:text
// link      = at:i64 connected:bool
// tick      = at:i64
// disk      = at:i64 free:f64                   percent, 0 to 100
// clock_step = at:i64 by:i64                    ms, either way
// clock_move = at:i64 from:i64 by:i64           ms, either way
// jar_model = at:i64 revision:u64 jar:text bytes:text        bytes: at most kLargestJarModel
// text      = size:u32 { byte }        bool = u8, 0 or 1        f64 = IEEE 754 binary64
// Times are Unix milliseconds. All numbers are little-endian.
#include "daemon/history/inbox_codec.h"

#include <cmath>
#include <unordered_map>

#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

// Bytes of one `reading` above: bounds the count before memory is reserved for it.
constexpr std::size_t kReadingBytes = 4 + 1 + 1 + 1 + 8 + 8 + 8;

struct PayloadWriter {
  std::string& bytes;

  void operator()(const ReadingsRecord& record) const {
    put_signed(bytes, unix_ms(record.received_at));
    put_number(bytes, record.digest);
    put_number(bytes, static_cast<std::uint8_t>(record.redelivered));

    std::unordered_map<std::string_view, std::uint32_t> numbers;
    std::vector<std::string_view> ids;
    for (const Reading& reading : record.readings) {
      if (numbers.try_emplace(reading.sensor, static_cast<std::uint32_t>(ids.size())).second) {
        ids.push_back(reading.sensor);
      }
    }
    put_number(bytes, static_cast<std::uint32_t>(ids.size()));
    for (const std::string_view id : ids) put_text(bytes, id);

    put_number(bytes, static_cast<std::uint32_t>(record.readings.size()));
    for (const Reading& reading : record.readings) {
      put_number(bytes, numbers.at(reading.sensor));
      put_number(bytes, static_cast<std::uint8_t>(reading.quantity));
      put_number(bytes, static_cast<std::uint8_t>(reading.unit));
      put_number(bytes, reading.marks);
      put_double(bytes, reading.raw);
      put_signed(bytes, unix_ms(reading.measured_at));
      put_signed(bytes, unix_ms(reading.received_at));
    }
  }
  void operator()(const TellRecord& record) const {
    put_signed(bytes, unix_ms(record.received_at));
    put_number(bytes, static_cast<std::uint8_t>(record.redelivered));
    put_text(bytes, record.sentence);
    put_text(bytes, record.by);
    put_text(bytes, record.response_topic);
    put_text(bytes, record.correlation);
  }
  void operator()(const LinkRecord& record) const {
    put_signed(bytes, unix_ms(record.at));
    put_number(bytes, static_cast<std::uint8_t>(record.connected));
  }
  void operator()(const TickRecord& record) const { put_signed(bytes, unix_ms(record.at)); }
  void operator()(const DiskRecord& record) const {
    put_signed(bytes, unix_ms(record.at));
    put_double(bytes, record.free_percent);
  }
  void operator()(const ClockStepRecord& record) const {
    put_signed(bytes, unix_ms(record.at));
    put_signed(bytes, record.by.count());
  }
  void operator()(const ClockMoveRecord& record) const {
    put_signed(bytes, unix_ms(record.at));
    put_signed(bytes, unix_ms(record.from));
    put_signed(bytes, record.by.count());
  }
  void operator()(const JarModelRecord& record) const {
    put_signed(bytes, unix_ms(record.at));
    put_number(bytes, record.revision);
    put_text(bytes, record.jar);
    put_text(bytes, record.bytes);
  }
};

std::optional<bool> truth(std::uint8_t byte) {
  if (byte > 1) return std::nullopt;
  return byte == 1;
}

std::optional<Reading> read_reading(ByteReader& bytes, const std::vector<std::string>& ids) {
  Reading reading;
  const auto sensor = bytes.number<std::uint32_t>();
  const auto quantity = bytes.number<std::uint8_t>();
  const auto unit = bytes.number<std::uint8_t>();
  reading.marks = bytes.number<std::uint8_t>();
  reading.raw = bytes.real();
  reading.measured_at = instant_of(bytes.signed_number());
  reading.received_at = instant_of(bytes.signed_number());
  if (bytes.failed() || sensor >= ids.size() || !std::isfinite(reading.raw)) return std::nullopt;
  if (quantity < 1 || quantity > 3 || unit < 1 || unit > 4) return std::nullopt;
  reading.sensor = ids[sensor];
  reading.quantity = static_cast<Quantity>(quantity);
  reading.unit = static_cast<Unit>(unit);
  if (!measures(reading.unit, reading.quantity)) return std::nullopt;
  return reading;
}

std::optional<InboxPayload> read_readings(ByteReader& bytes) {
  ReadingsRecord record;
  record.received_at = instant_of(bytes.signed_number());
  record.digest = bytes.number<std::uint64_t>();
  const auto redelivered = truth(bytes.number<std::uint8_t>());
  if (!redelivered) return std::nullopt;
  record.redelivered = *redelivered;

  const auto sensors = bytes.number<std::uint32_t>();
  std::vector<std::string> ids;
  for (std::uint32_t i = 0; i < sensors && !bytes.failed(); ++i) ids.push_back(bytes.text());

  const auto count = bytes.number<std::uint32_t>();
  if (bytes.failed() || bytes.left() != count * kReadingBytes) return std::nullopt;
  record.readings.reserve(count);
  for (std::uint32_t i = 0; i < count; ++i) {
    std::optional<Reading> reading = read_reading(bytes, ids);
    if (!reading) return std::nullopt;
    record.readings.push_back(std::move(*reading));
  }
  return record;
}

std::optional<InboxPayload> read_tell(ByteReader& bytes) {
  TellRecord record;
  record.received_at = instant_of(bytes.signed_number());
  const auto redelivered = truth(bytes.number<std::uint8_t>());
  if (!redelivered) return std::nullopt;
  record.redelivered = *redelivered;
  record.sentence = bytes.text();
  record.by = bytes.text();
  record.response_topic = bytes.text();
  record.correlation = bytes.text();
  return record;
}

std::optional<InboxPayload> read_link(ByteReader& bytes) {
  LinkRecord record;
  record.at = instant_of(bytes.signed_number());
  const auto connected = truth(bytes.number<std::uint8_t>());
  if (!connected) return std::nullopt;
  record.connected = *connected;
  return record;
}

std::optional<InboxPayload> read_disk(ByteReader& bytes) {
  DiskRecord record;
  record.at = instant_of(bytes.signed_number());
  record.free_percent = bytes.real();
  if (!(record.free_percent >= 0.0 && record.free_percent <= 100.0)) return std::nullopt;
  return record;
}

std::optional<InboxPayload> read_clock_step(ByteReader& bytes) {
  ClockStepRecord record;
  record.at = instant_of(bytes.signed_number());
  record.by = Duration(bytes.signed_number());
  return record;
}

std::optional<InboxPayload> read_clock_move(ByteReader& bytes) {
  ClockMoveRecord record;
  record.at = instant_of(bytes.signed_number());
  record.from = instant_of(bytes.signed_number());
  record.by = Duration(bytes.signed_number());
  return record;
}

std::optional<InboxPayload> read_jar_model(ByteReader& bytes) {
  JarModelRecord record;
  record.at = instant_of(bytes.signed_number());
  record.revision = bytes.number<std::uint64_t>();
  record.jar = bytes.text();
  record.bytes = bytes.text();
  if (record.bytes.size() > kLargestJarModel) return std::nullopt;
  return record;
}

std::optional<InboxPayload> read_payload(RecordKind kind, ByteReader& bytes) {
  switch (kind) {
    case RecordKind::readings:
      return read_readings(bytes);
    case RecordKind::tell:
      return read_tell(bytes);
    case RecordKind::link:
      return read_link(bytes);
    case RecordKind::tick:
      return TickRecord{instant_of(bytes.signed_number())};
    case RecordKind::jar_model:
      return read_jar_model(bytes);
    case RecordKind::disk:
      return read_disk(bytes);
    case RecordKind::clock_step:
      return read_clock_step(bytes);
    case RecordKind::clock_move:
      return read_clock_move(bytes);
  }
  return std::nullopt;
}

}  // namespace

RecordKind record_kind(const InboxPayload& payload) {
  struct Kind {
    RecordKind operator()(const ReadingsRecord&) const { return RecordKind::readings; }
    RecordKind operator()(const TellRecord&) const { return RecordKind::tell; }
    RecordKind operator()(const LinkRecord&) const { return RecordKind::link; }
    RecordKind operator()(const TickRecord&) const { return RecordKind::tick; }
    RecordKind operator()(const JarModelRecord&) const { return RecordKind::jar_model; }
    RecordKind operator()(const DiskRecord&) const { return RecordKind::disk; }
    RecordKind operator()(const ClockStepRecord&) const { return RecordKind::clock_step; }
    RecordKind operator()(const ClockMoveRecord&) const { return RecordKind::clock_move; }
  };
  return std::visit(Kind{}, payload);
}

void encode_payload(const InboxPayload& payload, std::string& bytes) {
  std::visit(PayloadWriter{bytes}, payload);
}

std::optional<InboxPayload> decode_payload(std::uint8_t kind, std::string_view bytes) {
  ByteReader reader(bytes);
  std::optional<InboxPayload> payload = read_payload(static_cast<RecordKind>(kind), reader);
  if (!reader.finished()) return std::nullopt;
  return payload;
}

}  // namespace torpor::daemon
