#include "daemon/service/secret_files.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

namespace torpor::daemon {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kShortestToken = 16;
// Of 16 hexadecimal digits chosen by chance, one in 30,000 has fewer than 6 different ones.
constexpr std::size_t kFewestDifferent = 6;

// The shortest piece that the text is made of again and again; its whole size: there is none.
std::size_t repeated_piece(std::string_view text) {
  for (std::size_t size = 1; size <= text.size() / 2; ++size) {
    if (text.substr(size) == text.substr(0, text.size() - size)) return size;
  }
  return text.size();
}

// abcdef..., 98765...
bool is_in_order(std::string_view text) {
  for (const int step : {1, -1}) {
    const auto breaks = std::adjacent_find(text.begin(), text.end(), [step](char a, char b) {
      return b - a != step && !(step == 1 && a == '9' && b == '0');
    });
    if (breaks == text.end()) return true;
  }
  return false;
}

}  // namespace

std::string others_who_may_read(const fs::path& file) {
  std::error_code absent;
  const fs::perms mode = fs::status(file, absent).permissions();
  if (absent || mode == fs::perms::unknown) return "";
  const auto octal = static_cast<unsigned>(mode & fs::perms::all);
  if ((mode & fs::perms::others_read) != fs::perms::none) {
    return fmt::format("everybody on this computer (mode {:o})", octal);
  }
  if ((mode & fs::perms::group_read) != fs::perms::none) {
    return fmt::format("its group (mode {:o})", octal);
  }
  return "";
}

std::string token_weakness(std::string_view token) {
  if (token.size() < kShortestToken) {
    return fmt::format("it has {} characters, fewer than {}", token.size(), kShortestToken);
  }
  if (const std::size_t piece = repeated_piece(token); piece < token.size()) {
    return piece == 1 ? "it is one character again and again"
                      : fmt::format("it is the same {} characters again and again", piece);
  }
  if (is_in_order(token)) return "its characters stand in order";
  const std::size_t different = std::set<char>(token.begin(), token.end()).size();
  if (different < kFewestDifferent) {
    return fmt::format("it has only {} different characters", different);
  }
  return "";
}

}  // namespace torpor::daemon
