// What makes a file a secret, and a token hard to guess.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace torpor::daemon {

// Who but its owner may read the file, such as "its group (mode 640)"; empty: nobody, or it cannot
// be looked at.
[[nodiscard]] std::string others_who_may_read(const std::filesystem::path& file);

// What makes a token easy to guess, such as "it is 'a' again and again"; empty: nothing. A token is
// at least 16 characters that follow no pattern; 16 letters and digits chosen by chance are beyond
// guessing over a network.
[[nodiscard]] std::string token_weakness(std::string_view token);

}  // namespace torpor::daemon
