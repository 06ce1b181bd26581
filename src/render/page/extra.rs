//! Blocks of words, pictures and tables as markup; all words are escaped.

use maud::{Markup, PreEscaped, html};

use crate::render::blocks::{Block, ExtraSection, number_columns};
use crate::render::svg::svg;

pub(super) fn extras(sections: &[ExtraSection]) -> Markup {
    html! {
        @for section in sections {
            h2 id=(section.id) { (section.title) }
            @for piece in &section.blocks { (block(piece)) }
        }
    }
}

fn block(block: &Block) -> Markup {
    match block {
        Block::Words(words) => html! { p { (words) } },
        Block::Caution(words) => html! { p class="caution" { (words) } },
        Block::Picture(picture) => html! { figure { (PreEscaped(svg(picture))) } },
        Block::Table { head, rows } => table(head, rows),
    }
}

fn table(head: &[String], rows: &[Vec<String>]) -> Markup {
    let numbers = number_columns(rows);
    let class = |column: usize| (!numbers.get(column).copied().unwrap_or(false)).then_some("words");
    html! {
        div class="scroll" { table {
            @if !head.is_empty() {
                thead { tr { @for (column, cell) in head.iter().enumerate() { th scope="col" class=[class(column)] { (cell) } } } }
            }
            tbody { @for row in rows {
                tr { @for (column, cell) in row.iter().enumerate() { td class=[class(column)] { (cell) } } }
            } }
        } }
    }
}
