// The frame of every page, of the report in a file as of the web: head, style sheet, language.
// Nothing here asks another server for anything, and nothing needs a script to be read.
#pragma once

#include <functional>
#include <string>

#include "daemon/ledger/local_time.h"
#include "daemon/report/markup.h"
#include "daemon/report/person_units.h"

namespace torpor::daemon {

// What every page needs to know.
struct PageContext {
  const LocalTime& zone;
  Instant as_of;
  std::string storeroom;
  PersonUnits units{};
};

// One sheet for screen, phone and paper.
[[nodiscard]] Literal page_style();

// A whole page: `head` adds to the head, `body` writes the body.
[[nodiscard]] std::string html_page(const std::string& title,
                                    const std::function<void(Markup&)>& head,
                                    const std::function<void(Markup&)>& body);

}  // namespace torpor::daemon
