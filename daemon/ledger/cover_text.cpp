#include "daemon/ledger/cover_text.h"

#include "daemon/ledger/choice_text.h"
#include "daemon/ledger/vocabulary.h"

namespace torpor::daemon {

bool is_bare_lid(const Cursor& cursor) {
  if (word_next(cursor, covers()) != nullptr) return false;
  return cursor.matches("lid") > 0 || cursor.matches("a lid") > 0 || cursor.matches("the lid") > 0;
}

tl::expected<Cover, std::string> read_cover_words(Cursor& cursor) {
  if (is_bare_lid(cursor)) return tl::unexpected(std::string(kWhichLid));
  return read_choice(cursor, "cover", covers());
}

}  // namespace torpor::daemon
