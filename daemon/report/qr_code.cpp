#include "daemon/report/qr_code.h"

#include <qrencode.h>

#include <memory>

namespace torpor::daemon {

std::optional<QrCode> qr_code(const std::string& text) {
  if (text.empty() || text.size() > kLongestQrText) return std::nullopt;
  constexpr int kSmallestThatFits = 0;
  // Bytes as they are: the address of a page and ASCII ids, whose case matters.
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeString8bit(text.c_str(), kSmallestThatFits, QR_ECLEVEL_M), &QRcode_free);
  if (!code) return std::nullopt;
  QrCode result;
  result.side = static_cast<std::size_t>(code->width);
  constexpr unsigned char kDark = 1;  // the lowest bit of a module
  for (std::size_t i = 0; i < result.side * result.side; ++i) {
    result.dark.push_back((code->data[i] & kDark) != 0);
  }
  return result;
}

}  // namespace torpor::daemon
