// For root, who brings files into the folder of the service's user.
#pragma once

#include <filesystem>

namespace torpor::daemon {

// Gives a file, and what lies beside it under its name and a suffix, to the owner of its folder.
// Does nothing for anybody but root.
void give_to_folders_owner(const std::filesystem::path& file);

}  // namespace torpor::daemon
