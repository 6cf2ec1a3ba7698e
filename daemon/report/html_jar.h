// A jar's history as a page: the sentence, the picture of its life, figures, reasons, journal,
// alerts, cautions. One A4 page when printed.
#pragma once

#include <string>

#include "daemon/report/html_page.h"
#include "daemon/report/views.h"

namespace torpor::daemon {

// What stands between a page's head and foot.
void write_jar(Markup& page, const JarHistoryView& view, const PageContext& context);

// `torpor jar ID --html FILE`: one file that stands for itself.
[[nodiscard]] std::string jar_report(const JarHistoryView& view, const PageContext& context);

}  // namespace torpor::daemon
