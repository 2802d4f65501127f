"""Text of the east in the encodings that spreadsheets wrote before UTF-8."""

import pytest

from ingest.reading.encodings import decode

JAPANESE = "製造番号,入荷日,機種,仕入先,判定,担当者\nMG26001,2026/9/7,クラシックギター CG-5,木曽木工,○,伊藤 誠\n" * 9
SHORT = "機番,検査日,弦高 低音,順反り\nMG1,2026/9/7,２．５,0.15㎜\n"  # kana in one word alone
CHINESE = "序号,日期,型号,工序,操作员,琴颈弯曲,结果\nA1,2026-09-07,古典吉他,指板打磨,王小明,0.15,合格\n" * 9
TAIWAN = "序號,日期,型號,工序,操作員,琴頸彎曲,結果\nA1,2026-09-07,古典吉他,指板打磨,王小明,0.15,合格\n" * 9
KOREAN = "일련번호,날짜,모델,공정,작업자,결과\nA1,2026-09-07,클래식 기타,줄 높이,김철수,합격\n" * 9
RUSSIAN = "Номер,Дата,Модель,Мастер,Прогиб грифа\nА1,07.09.2026,Классическая,Иванов,0.15\n" * 9
GREEK = "Αριθμός,Ημερομηνία,Μοντέλο,Τεχνίτης\nA1,7/9/2026,Κλασική κιθάρα,Νίκος\n" * 9
FRENCH = "N° série,Opérateur,Réglage,Où\nA1,Hélène Bertin,réglé à l'œil,là\n" * 9
CZECH = "Číslo,Výška strun,Kdo,Příčina\nA1,2.5,Jiří Šťastný,příliš žádaný, že\n" * 9
GERMAN = "Gerät,Prüfer,Maß,Höhe\nA1,Jörg Müßig,groß,schräg\n" * 9


@pytest.mark.parametrize(
    ("text", "codec", "told"),
    [
        (JAPANESE, "cp932", "Shift-JIS"),
        (JAPANESE, "euc_jp", "EUC-JP"),
        (SHORT, "cp932", "Shift-JIS"),
        (CHINESE, "gb18030", "GB 18030"),
        (TAIWAN, "big5", "Big5"),
        (KOREAN, "cp949", "EUC-KR"),
        (RUSSIAN, "cp1251", "1251"),
        (RUSSIAN, "koi8-r", "KOI8"),
        (GREEK, "cp1253", "1253"),
        (FRENCH, "cp1252", "1252"),
        (GERMAN, "cp1252", "1252"),
        ("Größe,öß\nA1,2\n" * 9, "cp1252", "1252"),
        ("serial,date,note\nA1,2026-03-02,Größe\n", "cp1252", "1252"),
        ("Kto,Uwagi\nA1,długość gryfu, próg łączny\n" * 3, "cp1250", "1250"),
        (CZECH, "cp1250", "1250"),
    ],
)
def test_letters_are_read_in_the_encoding_they_were_written_in_and_it_is_said(text, codec, told):
    read, note = decode(text.encode(codec), "a.csv")
    assert read == text
    assert told in note


def test_text_in_utf_8_is_never_taken_for_another():
    for text in (JAPANESE, CHINESE, KOREAN, RUSSIAN, GREEK, FRENCH):
        assert decode(text.encode(), "a.csv") == (text, "")
