#include "rules/watch/layout.h"

namespace torpor::rules {

std::string_view parent_place(std::string_view path) {
  const auto slash = path.rfind('/');
  return slash == std::string_view::npos ? std::string_view{} : path.substr(0, slash);
}

bool is_at_or_below(std::string_view path, std::string_view ancestor) {
  if (path.size() == ancestor.size()) return path == ancestor;
  return !ancestor.empty() && path.size() > ancestor.size() &&
         path.substr(0, ancestor.size()) == ancestor && path[ancestor.size()] == '/';
}

}  // namespace torpor::rules
