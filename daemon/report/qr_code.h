// A text as a QR code (ISO/IEC 18004), error correction M: a label on a jar gets stained. The only
// file of this room that includes qrencode is the .cpp.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace torpor::daemon {

struct QrCode {
  std::size_t side = 0;    // modules
  std::vector<bool> dark;  // side x side, row by row
  [[nodiscard]] bool at(std::size_t column, std::size_t row) const {
    return dark[row * side + column];
  }
};
// Blank modules that must surround it, on each side.
inline constexpr std::size_t kQuietZone = 4;

// nullopt: the text is empty or too long for a label's code (kLongestQrText).
inline constexpr std::size_t kLongestQrText = 300;  // bytes: beyond that modules get too fine
[[nodiscard]] std::optional<QrCode> qr_code(const std::string& text);

}  // namespace torpor::daemon
