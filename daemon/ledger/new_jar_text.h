// The fields of `new jar`, and those of `split`, which says only what is new about the jar.
#pragma once

#include <span>
#include <string_view>

#include "daemon/ledger/field_reader.h"
#include "daemon/ledger/sentence.h"

namespace torpor::daemon {

inline constexpr std::string_view kNewJarForm =
    "new jar ID in PLACE, then any of stage, rice, raw, cooked, sugar, sugar-kind, topping, "
    "vessel, "
    "empty, mouth, cover, closed, origin, from";
inline constexpr std::string_view kNewJarExample =
    "new jar B-07 in cellar/shelf-2 stage IMO-2 rice 1200 g raw 560 g sugar 1250 g cover paper "
    "closed 2026-03-02";
inline constexpr FieldForms kNewJarForms = {"jar", kNewJarForm, kNewJarExample,
                                            "new jar B-07 in cellar/shelf-2"};

inline constexpr std::string_view kSplitForm =
    "split WEIGHT from ID into ID in PLACE, then any of vessel, empty, mouth, cover";
inline constexpr std::string_view kSplitExample =
    "split 600 g from B-07 into B-08 in cellar/shelf-1 vessel glass 2 l cover paper";
inline constexpr FieldForms kSplitForms = {"jar", kSplitForm, kSplitExample,
                                           "split 600 g from B-07 into B-08 in cellar/shelf-1"};

[[nodiscard]] std::span<const Field<NewJar>> new_jar_fields();
[[nodiscard]] std::span<const Field<NewJar>> split_fields();

}  // namespace torpor::daemon
