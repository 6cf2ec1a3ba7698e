#include "config/fault_list.h"

#include <fmt/core.h>

#include <algorithm>

#include "config/shown_text.h"
#include "sensors/utf8.h"

namespace torpor::config {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
// A longer line is not repeated under its fault: line and column say enough.
constexpr std::size_t kLongestShownLine = 300;

// The line as it can be printed: no control characters that would move the cursor.
std::string printable(std::string_view line) {
  if (line.size() > kLongestShownLine || find_not_utf8(line) != std::string_view::npos) return {};
  std::string out(line);
  for (char& c : out) {
    const auto byte = static_cast<unsigned char>(c);
    if ((byte < 0x20 && c != '\t') || byte == 0x7F) c = '?';
  }
  return out;
}

}  // namespace

FaultList::FaultList(std::string_view text, std::string file)
    : text_(text), file_(std::move(file)), line_starts_{0} {
  if (text_.substr(0, kByteOrderMark.size()) == kByteOrderMark) {
    text_.remove_prefix(kByteOrderMark.size());
  }
  for (std::size_t i = 0; i < text_.size(); ++i) {
    if (text_[i] == '\n') line_starts_.push_back(i + 1);
  }
}

void FaultList::add(std::size_t offset, std::string message) {
  found_.push_back({std::min(offset, text_.size()), std::move(message)});
}

std::size_t FaultList::line_index(std::size_t offset) const {
  const auto next = std::upper_bound(line_starts_.begin(), line_starts_.end(), offset);
  return static_cast<std::size_t>(next - line_starts_.begin()) - 1;
}

std::string_view FaultList::line_at(std::size_t offset) const {
  const std::size_t start = line_starts_[line_index(offset)];
  std::string_view line = text_.substr(start, text_.find('\n', start) - start);
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  return line;
}

int FaultList::line(std::size_t offset) const {
  return static_cast<int>(line_index(std::min(offset, text_.size()))) + 1;
}

Mark FaultList::mark(std::size_t offset) const {
  const std::size_t within = std::min(offset, text_.size());
  const std::size_t line = line_index(within);
  const std::string_view before = text_.substr(line_starts_[line], within - line_starts_[line]);
  return {static_cast<int>(line) + 1, static_cast<int>(characters(before)) + 1};
}

std::vector<Fault> FaultList::faults() const {
  std::vector<const Found*> ordered;
  ordered.reserve(found_.size());
  for (const Found& found : found_) ordered.push_back(&found);
  std::stable_sort(ordered.begin(), ordered.end(),
                   [](const Found* a, const Found* b) { return a->offset < b->offset; });
  const std::size_t shown = std::min(ordered.size(), kMostShown);
  std::vector<Fault> faults;
  faults.reserve(shown + 1);
  for (std::size_t i = 0; i < shown; ++i) {
    const Found& found = *ordered[i];
    faults.push_back({file_, mark(found.offset), found.message, printable(line_at(found.offset))});
  }
  if (ordered.size() > shown) {
    faults.push_back(
        {file_,
         {},
         fmt::format("{} more faults are not shown; mend these first", ordered.size() - shown),
         {}});
  }
  return faults;
}

bool check_characters(FaultList& faults, std::size_t largest) {
  const std::string_view text = faults.text();
  if (text.size() > largest) {
    faults.add(0, fmt::format("found {} bytes; expected at most {}: this is not a file a person "
                              "keeps by hand, check the name",
                              text.size(), largest));
    return false;
  }
  const std::size_t invalid = find_not_utf8(text);
  if (invalid != std::string_view::npos) {
    faults.add(invalid, fmt::format("found the byte 0x{:02X}, which is not UTF-8; save the file "
                                    "as UTF-8 text",
                                    static_cast<unsigned char>(text[invalid])));
    return false;
  }
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    const bool line_end = text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n';
    if ((byte < 0x20 && text[i] != '\n' && text[i] != '\t' && !line_end) || byte == 0x7F) {
      faults.add(i, fmt::format("found the control character 0x{:02X}; expected text: delete it "
                                "(lines end in LF or CR LF)",
                                byte));
      return false;
    }
  }
  return true;
}

}  // namespace torpor::config
