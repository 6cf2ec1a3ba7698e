// One inbox record's payload as bytes and back. Little-endian and bit for bit, whatever the
// machine; the layout is in FORMAT.md and at the top of inbox_codec.cpp. It knows nothing of files,
// lengths or checksums: those are inbox_segment.h.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/history/inbox.h"

namespace torpor::daemon {

// Stored: do not renumber. The value is the payload's kind byte.
enum class RecordKind : std::uint8_t {
  readings = 1,
  tell = 2,
  link = 3,
  tick = 4,
  jar_model = 5,
  disk = 6,
  clock_step = 7,
  clock_move = 8,
};

[[nodiscard]] RecordKind record_kind(const InboxPayload& payload);

// Appends the payload's bytes, without its kind, to `bytes`.
void encode_payload(const InboxPayload& payload, std::string& bytes);

// nullopt: not a payload of that kind, in whole and with nothing left over.
[[nodiscard]] std::optional<InboxPayload> decode_payload(std::uint8_t kind, std::string_view bytes);

}  // namespace torpor::daemon
