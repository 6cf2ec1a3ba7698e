// The fields of `new collection`: what was brought in from outside, before it is in a jar.
#pragma once

#include <span>
#include <string_view>

#include "daemon/ledger/field_reader.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

inline constexpr std::string_view kNewCollectionForm =
    "new collection ID where PLACE, then any of trees, weather, lay, rice, looked, gathered";
inline constexpr std::string_view kNewCollectionExample =
    "new collection C-01 where \"beech hollow, north slope\" trees \"beech, fern below\" lay 5 d "
    "gathered 2026-02-20";
inline constexpr FieldForms kNewCollectionForms = {
    "collection", kNewCollectionForm, kNewCollectionExample,
    "new collection C-01 where \"beech hollow, north slope\""};

[[nodiscard]] std::span<const Field<NewCollection>> new_collection_fields();

}  // namespace torpor::daemon
